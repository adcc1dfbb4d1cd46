"""Map and charts as Bokeh figures. What depends on filters and on the light or dark look, the page's script sets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from bokeh.core.properties import value
from bokeh.embed import json_item
from bokeh.models import (
    CDSView,
    ColumnDataSource,
    HoverTool,
    IndexFilter,
    NumeralTickFormatter,
    PanTool,
    Range1d,
    Span,
    TapTool,
    WheelZoomTool,
)
from bokeh.plotting import figure

from planner.outputs import styles
from planner.outputs.report.outlines import outlines
from planner.outputs.report.places import Layout
from planner.outputs.report.texts import say

if TYPE_CHECKING:
    from planner.explain import BudgetPoint

_WARN = f"#{styles.VERMILLION}"
_DASHES = [5, 3]
_ROOMY = {"min_border": 8, "toolbar_location": None, "sizing_mode": "stretch_width", "background_fill_color": None}


def map_item(layout: Layout) -> dict[str, Any]:
    """Return the map as JSON for Bokeh's script: outlines, and empty sources that the page's script fills."""
    chart = figure(
        **{**_ROOMY, "min_border": 0},
        name="map",
        height=560,
        x_range=Range1d(0, 1),
        y_range=Range1d(0, 1),
        tools=[PanTool(), WheelZoomTool(modifiers={"ctrl": True})],
        x_axis_location=None,
        y_axis_location=None,
    )
    chart.grid.visible = False
    if not layout.schematic:
        xs, ys = outlines(layout.centre)
        chart.patches(xs, ys, name="land", line_width=0.8)
    rows = _source("rows", "x y colour shape site name host rtt budget evidence")
    view = CDSView(filter=IndexFilter(indices=[]), name="shown")
    # One path for each host: ten thousand lines of their own take several times longer to draw.
    lines = _source("lines", "xs ys colour")
    chart.multi_line("xs", "ys", source=lines, name="lines", line_alpha=0.45, line_color="colour")
    dots = chart.scatter("x", "y", source=rows, view=view, name="dots", marker="shape", fill_color="colour", size=8)
    unserved = chart.scatter("x", "y", source=_source("unserved", "x y site"), name="crosses", marker="x", size=9)
    moves = _source("moves", "x y to_x to_y")
    chart.segment("x", "y", "to_x", "to_y", source=moves, name="moving", line_width=1.5, line_dash=value(_DASHES))
    chart.scatter("x", "y", source=_source("bare", "x y"), name="rings", size=15, fill_color=None, line_width=2)
    hub_source = _source("hubs", "x y hub name hosts clusters size filled")
    hubs = chart.scatter("x", "y", source=hub_source, name="hub_marks", marker="square", size="size", line_width=2)
    chart.text(
        *("x", "y", "hub"),
        source=hub_source,
        name="hub_names",
        x_offset=10,
        text_baseline="bottom",
        text_font_size="12px",
        background_fill_alpha=0.75,
        padding=2,
    )
    for renderer in chart.renderers:
        renderer.nonselection_glyph = None
    site, latency = (say("site"), "@site"), (say("rtt_of_budget"), "@rtt{0.0} / @budget{0.0} ms")
    for renderer, tips in (
        (dots, [site, (say("name"), "@name"), (say("host"), "@host"), latency, (say("evidence"), "@evidence")]),
        (unserved, [site, (say("host"), say("unserved"))]),
        (
            hubs,
            [(say(key), f"@{key}") for key in ("hub", "name", "hosts", "clusters")],
        ),
    ):
        chart.add_tools(HoverTool(renderers=[renderer], tooltips=tips))
    chart.add_tools(TapTool(renderers=[hubs]))
    return dict(json_item(chart, "map-chart"))


def latency_item() -> dict[str, Any]:
    """Return the histogram of RTT as a share of the budget; the page's script counts the assignments shown."""
    chart = figure(**_ROOMY, name="latency", height=260, tools="", y_range=Range1d(0, 1), x_range=Range1d(0, 1.05))
    chart.quad("left", "right", "top", 0, source=_source("bars", "left right top"), name="bars", line_width=1)
    chart.add_layout(Span(location=1, dimension="height", line_color=_WARN, line_width=2, line_dash=_DASHES))
    chart.xaxis.formatter = NumeralTickFormatter(format="0%")
    chart.xaxis.axis_label, chart.yaxis.axis_label = say("rtt_share_axis"), say("assignments_axis")
    chart.xgrid.visible = False
    return dict(json_item(chart, "latency-chart"))


def curve_item(points: Sequence[BudgetPoint]) -> dict[str, Any]:
    """Return hosts against the latency budget, as a share of what it is now; hollow marks are not proven."""
    most = max(point.hosts for point in points)
    chart = figure(**_ROOMY, name="curve", height=260, tools="", y_range=Range1d(0, most * 1.15 + 1))
    shares, hosts = [point.share for point in points], [point.hosts for point in points]
    chart.line(shares, hosts, name="curve_line", line_width=2)
    for proven in (True, False):
        some = [(point.share, point.hosts) for point in points if point.proven == proven]
        x, y = zip(*some, strict=True) if some else ((), ())
        chart.scatter(list(x), list(y), name="proven" if proven else "best", size=9, line_width=2)
    chart.xaxis.ticker = [0.5, 0.75, 1, 1.25, 1.5, 2]
    chart.xaxis.formatter = NumeralTickFormatter(format="0%")
    chart.xaxis.axis_label, chart.yaxis.axis_label = say("budget_axis"), say("hosts_axis")
    chart.xgrid.visible = False
    return dict(json_item(chart, "curve-chart"))


def _source(name: str, columns: str) -> ColumnDataSource:
    return ColumnDataSource({column: [] for column in columns.split()}, name=name)
