"""Sheet Charts: load of each host, latency margins and hosts by hub, with the numbers that they draw beside them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence

from openpyxl.chart import BarChart, Reference, Series
from openpyxl.chart.axis import ChartLines
from openpyxl.chart.data_source import AxDataSource, StrRef
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, TwoCellAnchor
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs import headings, styles
from planner.outputs.cellsafe import Value, put
from planner.outputs.facts import Facts, margin_ms
from planner.outputs.grid import Book, set_up_print

_MOST_BARS = 60  # more do not keep a readable label each on a page
_MOST_BINS = 12
_HEAD = 4  # row of the headings above the numbers
_COLUMNS = 12  # of the charts' part of the sheet, which is what is printed

Rows = Sequence[Sequence[Value]]


def write_charts(book: Book, facts: Facts) -> None:
    """Add the sheet; the plan has at least one host."""
    sheet = book.new_sheet(headings.CHARTS)
    sheet.sheet_view.showGridLines = False
    load, hubs = load_rows(facts), hub_rows(facts)
    _write(sheet, 1, 1, "The plan in charts", styles.TITLE)
    _write(sheet, 2, 1, " ".join(_remarks(facts, len(load), len(hubs))))
    for number in range(1, _COLUMNS + 1):
        sheet.column_dimensions[get_column_letter(number)].width = 12

    drawn = _bars(sheet, 14, ("host", "usable", "clusters"), load, (styles.LINE, styles.BLUE))
    drawn.overlap, drawn.gapWidth = 100, 40  # clusters stand before what may be used
    _show(sheet, drawn, (0, 3, 12, 19), "Load of each host against what it may carry", "host", "clusters")

    margins = margin_rows(facts)
    if margins:
        drawn = _bars(sheet, 18, ("margin ms", "sites"), margins, (styles.BLUISH_GREEN,))
        drawn.gapWidth, drawn.legend = 5, None
        _show(
            sheet, drawn, (0, 20, 6, 36), "Latency margins", "margin of the site, ms (upper end not included)", "sites"
        )

    drawn = _bars(sheet, 21, ("hub", "existing", "new"), hubs, (styles.SKY_BLUE, styles.ORANGE))
    drawn.grouping, drawn.overlap, drawn.gapWidth = "stacked", 100, 40
    _show(sheet, drawn, (6, 20, 12, 36), "Hosts by hub", "hub", "hosts")

    set_up_print(sheet)
    sheet.page_setup.fitToHeight = 1
    sheet.print_area = f"A1:{get_column_letter(_COLUMNS)}37"


def load_rows(facts: Facts) -> list[tuple[str, int, int]]:
    """Return host, usable and carried clusters in order of the plan; of too many hosts those with the least room."""
    hosts = facts.plan.host_list
    tightest = sorted(range(len(hosts)), key=lambda i: hosts[i].usable - hosts[i].clusters)[:_MOST_BARS]
    return [(hosts[i].host, hosts[i].usable, hosts[i].clusters) for i in sorted(tightest)]


def margin_rows(facts: Facts) -> list[tuple[str, int]]:
    """Return bins of latency margin in ms, and how many sites have their smallest margin in each.

    The width is the least of 1, 2, 5, 10, 20, 50... ms that makes do with twelve bins; empty bins between are kept.
    """
    known = [margin for margin in _margins(facts).values() if math.isfinite(margin)]
    if not known:
        return []
    width = next(width for width in _widths() if max(known) // width - min(known) // width < _MOST_BINS)
    bins = Counter(int(margin // width) for margin in known)
    return [(f"{i * width} to {(i + 1) * width}", bins[i]) for i in range(min(bins), max(bins) + 1)]


def hub_rows(facts: Facts) -> list[tuple[str, int, int]]:
    """Return hub, existing and new hosts in order of the plan; of too many hubs those with the most hosts."""
    hosts = facts.plan.host_list
    total = Counter(host.hub for host in hosts)
    existing = Counter(host.hub for host in hosts if host.existing)
    shown = {hub for hub, _ in total.most_common(_MOST_BARS)}
    return [(hub, existing[hub], total[hub] - existing[hub]) for hub in total if hub in shown]


def _margins(facts: Facts) -> dict[str, float]:
    """Return the smallest margin of each site; a split site has several."""
    margins: dict[str, float] = {}
    for assignment in facts.plan.assignments:
        margins[assignment.site] = min(margins.get(assignment.site, math.inf), margin_ms(assignment))
    return margins


def _widths() -> Iterator[int]:
    power = 1
    while True:
        yield from (power, 2 * power, 5 * power)
        power *= 10


def _remarks(facts: Facts, hosts: int, hubs: int) -> Iterator[str]:
    all_hosts = facts.plan.hosts
    all_hubs = len({host.hub for host in facts.plan.host_list})
    if hosts < all_hosts:
        yield f"Shortened: the load chart shows the {hosts} of {all_hosts:,} hosts with the least room."
    if hubs < all_hubs:
        yield f"Shortened: the chart of hubs shows the {hubs} of {all_hubs:,} hubs with the most hosts."
    unknown = sum(not math.isfinite(margin) for margin in _margins(facts).values())
    if unknown:
        yield f"Sites without a known margin, not shown: {unknown:,}."
    yield "Drawn from the plan as it was written; hand edits do not move the bars. The numbers stand from column N on."


def _bars(sheet: Worksheet, first: int, names: Sequence[str], rows: Rows, colours: Sequence[str]) -> BarChart:
    """Write the numbers from column ``first`` on; return a chart of them: a label column, then one for each colour."""
    for offset, name in enumerate(names):
        _write(sheet, _HEAD, first + offset, name, styles.HEADING_OF_NUMBERS if offset else styles.HEADING)
    for number, row in enumerate(rows, start=_HEAD + 1):
        for offset, value in enumerate(row):
            _write(sheet, number, first + offset, value, styles.COUNT if offset else styles.TEXT)
    sheet.column_dimensions[get_column_letter(first)].width = 18
    last = _HEAD + len(rows)
    letter = get_column_letter(first)
    labels = f"{quote_sheetname(sheet.title)}!${letter}${_HEAD + 1}:${letter}${last}"
    chart = BarChart()
    for offset, colour in enumerate(colours, start=1):
        column = Reference(sheet, min_col=first + offset, min_row=_HEAD, max_row=last)
        series = Series(column, title_from_data=True)
        series.cat = AxDataSource(strRef=StrRef(f=labels))
        series.graphicalProperties.solidFill = colour
        series.graphicalProperties.line.solidFill = colour
        chart.series.append(series)
    return chart


def _show(sheet: Worksheet, chart: BarChart, area: tuple[int, int, int, int], title: str, across: str, up: str) -> None:
    """Place the chart on ``area``: first column and row, and those behind the last, from 0; it fills these cells."""
    left, top, right, bottom = area
    chart.title, chart.x_axis.title, chart.y_axis.title = title, across, up
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.y_axis.number_format = "#,##0"
    chart.y_axis.scaling.min = 0
    chart.y_axis.majorGridlines = ChartLines(spPr=GraphicalProperties(ln=LineProperties(solidFill=styles.LINE)))
    if chart.legend is not None:
        chart.legend.position = "t"
    corners = AnchorMarker(left, 0, top, 0), AnchorMarker(right, 0, bottom, 0)
    chart.anchor = TwoCellAnchor(_from=corners[0], to=corners[1])  # type: ignore[assignment]
    sheet.add_chart(chart)


def _write(sheet: Worksheet, row: int, column: int, value: Value, style: str = "") -> None:
    cell = sheet[f"{get_column_letter(column)}{row}"]
    if style:
        cell.style = style
    put(cell, value)
