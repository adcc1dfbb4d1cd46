"""What charts share: colours, the dress of charts in workbooks, and pictures of a sweep by matplotlib where it is."""

from __future__ import annotations

import os
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import Any

from openpyxl.chart.layout import Layout, ManualLayout

from planner.errors import InputError
from planner.fleet import Finding
from planner.outputs import styles
from planner.outputs.atomic import write_bytes
from planner.scenarios.curves import Curve, curves_of
from planner.scenarios.sweep_results import Sweep

COLOURS = (styles.BLUE, styles.VERMILLION, styles.BLUISH_GREEN, styles.ORANGE, styles.SKY_BLUE, styles.BLACK)
PICTURES = (".png", ".svg")
_MARKS = "os^Dv"
_MOST_NAMED = 40  # bars whose scenarios can be named legibly


def dress(chart: Any, title: str, x: str, y: str) -> None:
    """Give a chart of a workbook its titles, axes and size."""
    chart.title = title
    chart.x_axis.title, chart.y_axis.title = x or None, y
    # Without these two lines LibreOffice and newer Excel hide the axes.
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.y_axis.number_format = chart.x_axis.number_format = "General"
    chart.y_axis.majorGridlines.spPr = None
    chart.legend.position = "b"
    chart.width, chart.height = 24, 13
    chart.layout = Layout(manualLayout=ManualLayout(x=0.08, y=0.12, w=0.88, h=0.62))


def write_picture(sweep: Sweep, path: str | os.PathLike[str]) -> None:
    """Draw `draw_sweep` as .png or .svg; needs matplotlib (the extra ``charts``).

    Raises InputError where matplotlib is not installed or the file cannot be written.
    """
    try:
        from matplotlib import rc_context
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError:
        hint = 'Install it: pip install "castingvote[charts]". The workbook has the chart without it.'
        finding = Finding("error", "matplotlib_missing", "--chart", "matplotlib is not installed.", hint)
        raise InputError((finding,)) from None
    figure = Figure(layout="constrained")
    FigureCanvasAgg(figure)
    draw_sweep(sweep, figure)
    suffix = Path(path).suffix.lower().lstrip(".")
    # Letters stay letters, and without a date and with names of their own the same sweep gives the same picture.
    style: dict[Any, Any] = {"svg.fonttype": "none", "svg.hashsalt": "castingvote"}
    picture = BytesIO()
    with rc_context(style):
        figure.savefig(picture, format=suffix, dpi=150, metadata={"Date": None} if suffix == "svg" else {})
    write_bytes(path, picture.getvalue())


def draw_sweep(sweep: Sweep, figure: Any) -> None:
    """Draw hosts over the varied axis on a figure of matplotlib, and below them the unserved sites where there are any.

    Full marks are proven points; an open mark has a bar down to its bound.
    """
    from matplotlib.ticker import MaxNLocator

    curves = curves_of(sweep)
    unserved = any(p.figures is not None and p.figures.unserved for curve in curves.curves for p in curve.points)
    figure.set_size_inches(10, 8 if unserved else 6)
    above, *below = figure.subplots(2, 1, height_ratios=(2, 1), sharex=True) if unserved else (figure.add_subplot(),)
    for number, curve in enumerate(curves.curves):
        draw = _draw_curve if curves.axis else _draw_bars
        draw(above, curve, number, [p.figures.hosts for p in curve.points if p.figures is not None])
        for panel in below:
            draw(panel, curve, number, [len(p.figures.unserved) for p in curve.points if p.figures is not None])
    names = ", ".join(source.name for source in sweep.sources) or "the fleet"
    above.set_title(f"Hosts in each scenario of {names}")
    for panel, what in zip((above, *below), ("hosts", "sites unserved"), strict=False):
        panel.set_ylabel(what)
        panel.yaxis.set_major_locator(MaxNLocator(integer=True))
        panel.grid(axis="y", alpha=0.3)
    if curves.axis:
        (above, *below)[-1].set_xlabel(curves.label)
        above.legend(fontsize="small")


def _draw_curve(panel: Any, curve: Curve, number: int, values: Sequence[float]) -> None:
    """Draw marks joined by lines: full where proven, open with a line down to the bound where not."""
    colour = f"#{COLOURS[number % len(COLOURS)]}"
    mark = _MARKS[number % len(_MARKS)]
    panel.plot(curve.x, values, color=colour, marker=mark, markerfacecolor="none", label=curve.name)
    proven = [(x, v) for x, v, point in zip(curve.x, values, curve.points, strict=True) if point.proven]
    panel.plot([x for x, _ in proven], [v for _, v in proven], mark, color=colour)
    for x, value, point in zip(curve.x, values, curve.points, strict=True):
        figures = point.figures
        if figures is not None and point.gap > 0 and figures.objective == "hosts" and value == figures.hosts:
            panel.plot([x, x], [figures.bound, value], color=colour, linewidth=1, linestyle=":")


def _draw_bars(panel: Any, curve: Curve, _number: int, values: Sequence[float]) -> None:
    panel.bar(curve.x, values, color=f"#{COLOURS[0]}")
    if len(values) <= _MOST_NAMED:
        panel.set_xticks(curve.x, [point.scenario.name for point in curve.points], rotation=60, ha="right")
