"""What charts share: colours, the dress of charts in workbooks, and pictures of a sweep by matplotlib where it is."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from openpyxl.chart.layout import Layout, ManualLayout

from planner.errors import InputError
from planner.fleet import Finding
from planner.outputs import styles
from planner.outputs.atomic import replacing
from planner.scenarios.curves import Curve, curves_of
from planner.scenarios.nouns import Sweep

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
    """Draw hosts over the varied axis as .png or .svg; needs matplotlib (the extra ``charts``).

    Full marks are proven points; an open mark has a bar down to its bound. Raises InputError where matplotlib is not
    installed or the file cannot be written.
    """
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
        from matplotlib.ticker import MaxNLocator
    except ImportError:
        hint = 'Install it: pip install "castingvote[charts]". The workbook has the chart without it.'
        finding = Finding("error", "matplotlib_missing", "--chart", "matplotlib is not installed.", hint)
        raise InputError((finding,)) from None
    curves = curves_of(sweep)
    figure = Figure(figsize=(10, 6), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    for number, curve in enumerate(curves.curves):
        if curves.axis:
            _draw_curve(axes, curve, number)
        else:
            _draw_bars(axes, curve)
    names = ", ".join(source.name for source in sweep.sources) or "the fleet"
    axes.set_title(f"Hosts in each scenario of {names}")
    if curves.axis:
        axes.set_xlabel(curves.axis)
        axes.legend(fontsize="small")
    axes.set_ylabel("hosts")
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))
    axes.grid(axis="y", alpha=0.3)
    suffix = Path(path).suffix.lower().lstrip(".")
    # A fixed date and hash salt keep the file the same from run to run.
    with replacing(path) as temporary:
        metadata = {"Date": None} if suffix == "svg" else {}
        figure.savefig(temporary, format=suffix, dpi=150, metadata=metadata)


def _draw_curve(axes: Any, curve: Curve, number: int) -> None:
    colour = f"#{COLOURS[number % len(COLOURS)]}"
    mark = _MARKS[number % len(_MARKS)]
    figures = [point.figures for point in curve.points if point.figures is not None]
    hosts = [one.hosts for one in figures]
    axes.plot(curve.x, hosts, color=colour, marker=mark, markerfacecolor="none", label=curve.name)
    proven = [(x, h) for x, h, point in zip(curve.x, hosts, curve.points, strict=True) if point.gap == 0]
    axes.plot([x for x, _ in proven], [h for _, h in proven], mark, color=colour)
    for x, one, point in zip(curve.x, figures, curve.points, strict=True):
        if point.gap > 0 and one.objective == "hosts":
            axes.plot([x, x], [one.bound, one.hosts], color=colour, linewidth=1, linestyle=":")


def _draw_bars(axes: Any, curve: Curve) -> None:
    hosts = [point.figures.hosts for point in curve.points if point.figures is not None]
    axes.bar(curve.x, hosts, color=f"#{COLOURS[0]}")
    if len(hosts) <= _MOST_NAMED:
        axes.set_xticks(curve.x, [point.scenario.name for point in curve.points], rotation=60, ha="right")
