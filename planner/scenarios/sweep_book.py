"""The workbook of a sweep: summary, every scenario, the front, the chart with its data, and what each one changes."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence

from openpyxl.chart import BarChart, Reference, ScatterChart, Series
from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs import cellsafe, styles
from planner.outputs.cellsafe import Value
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.page import title_page
from planner.scenarios.book_parts import add_notes, end_summary, in_title
from planner.scenarios.charts import COLOURS, dress
from planner.scenarios.curves import curves_of
from planner.scenarios.sweep_results import Point, Sweep
from planner.scenarios.sweep_words import changes_in_words, headline, proof_in_words

_TITLE = "Sweep of scenarios"
SCENARIO = Field("scenario", least=16, most=46)


def write_sweep_workbook(sweep: Sweep, path: str | os.PathLike[str]) -> None:
    """Write the sweep as an .xlsx workbook, whole or not at all; raises InputError when it cannot be written."""
    book = Book()
    _write_summary(book, sweep)
    write_table(book, "Scenarios", _fields(sweep), [_row(point, sweep) for point in sweep.points])
    front = [point for point in sweep.points if point.front]
    write_table(book, "Front", _fields(sweep), [_row(point, sweep) for point in front])
    _write_chart(book, sweep)
    if _has(sweep, "certainty"):
        _write_certainty(book, sweep)
    changes = [(point.scenario.name, line) for point in sweep.points for line in changes_in_words(point.scenario)]
    write_table(book, "Changes", (SCENARIO, Field("what it changes", least=30, most=80)), changes)
    book.save(path, _TITLE, sweep.version)


def _write_summary(book: Book, sweep: Sweep) -> None:
    page = title_page(book, "Summary", _TITLE, headline(sweep))
    if not sweep.complete:
        page.whole_row("The sweep was interrupted; scenarios without figures were not planned.")
    add_notes(page, "What to know", sweep.notes)
    page.section("How to read it")
    page.text_row("hosts, at least", "Hosts that the plan of the scenario runs, and the fewest that any plan needs.")
    page.text_row(
        "proof",
        "How the bound is proven. The hosts of a scenario may follow from stricter and less strict ones.",
    )
    page.text_row("Front", "The best scenarios. No other scenario that is as strict serves as much with fewer hosts.")
    page.text_row("cost", "What the plan's hosts cost a year; told where the objective is cost, or with --aims.")
    end_summary(page, sweep)


def _has(sweep: Sweep, name: str) -> bool:
    return any(p.figures is not None and getattr(p.figures, name) is not None for p in sweep.points)


def _covered(sweep: Sweep) -> bool:
    return any(p.figures is not None and p.figures.uncovered for p in sweep.points)


def _unit(values: Iterable[float]) -> str:
    """Return the style for a column of the objective: hosts are whole, money and some bounds are not."""
    return styles.COUNT if all(value == round(value) for value in values) else styles.MONEY


def _fields(sweep: Sweep) -> list[Field]:
    known = [point.figures for point in sweep.points if point.figures is not None]
    fields = [
        SCENARIO,
        Field("hosts", styles.COUNT),
        *[Field("new hosts", styles.COUNT)] * _has(sweep, "new_hosts"),
        Field("objective value", _unit(figures.value for figures in known)),
        Field("at least", _unit(figures.bound for figures in known)),
        Field("gap", styles.SHARE),
        *[Field("hubs", styles.COUNT)] * _has(sweep, "hubs"),
        Field("sites served", styles.COUNT),
        Field("sites unserved", styles.COUNT),
        Field("clusters", styles.COUNT),
    ]
    if _covered(sweep):
        fields.append(Field("sites without standby", styles.COUNT))
    if _has(sweep, "cost"):
        fields.append(Field(f"cost {sweep.currency}".strip() + " a year", styles.MONEY, least=14))
    if _has(sweep, "moves"):
        fields += [Field("moves", styles.COUNT), Field("mean RTT", styles.MS)]
    if _has(sweep, "certainty"):
        fields += [
            Field("within budget", styles.SHARE),
            Field("within, low end", styles.SHARE),
            Field("within, high end", styles.SHARE),
            Field("all within", styles.SHARE),
            Field("chance, low end", styles.SHARE),
            Field("chance, high end", styles.SHARE),
        ]
    return [*fields, Field("proof or error", least=24, most=60), Field("efficient", least=9)]


def _row(point: Point, sweep: Sweep) -> list[Value]:
    figures = point.figures
    if figures is None:
        return [point.scenario.name, *[None] * (len(_fields(sweep)) - 3), point.error, ""]
    row: list[Value] = [
        point.scenario.name,
        figures.hosts,
        *[figures.new_hosts] * _has(sweep, "new_hosts"),
        figures.value,
        figures.bound,
        point.gap,
        *[figures.hubs] * _has(sweep, "hubs"),
        figures.served,
        len(figures.unserved),
        figures.clusters,
    ]
    if _covered(sweep):
        row.append(figures.uncovered)
    if _has(sweep, "cost"):
        row.append(figures.cost)
    if _has(sweep, "moves"):
        row += [figures.moves, figures.mean_rtt_ms]
    if _has(sweep, "certainty"):
        c = figures.certainty
        names = ("within", "within_low", "within_high", "all_within", "all_low", "all_high")
        row += [None if c is None else getattr(c, name) for name in names]
    return [*row, proof_in_words(point), "yes" if point.front else ""]


def _write_chart(book: Book, sweep: Sweep) -> None:
    """Add the sheet Chart: a row for each point of a curve, and the charts beside it."""
    curves = curves_of(sweep)
    fields = (
        SCENARIO,
        Field("curve", least=12, most=40),
        Field(curves.label or "number", styles.ANY),
        Field("hosts", styles.COUNT),
        Field("sites unserved", styles.COUNT),
        Field("at least", styles.COUNT),
        Field("proven", least=8),
    )
    rows: list[Sequence[Value]] = []
    spans = []
    for curve in curves.curves:
        spans.append((curve.name, len(rows) + 2, len(rows) + 1 + len(curve.points)))
        for x, point in zip(curve.x, curve.points, strict=True):
            figures = point.figures
            assert figures is not None  # curves hold points that have figures
            numbers = (x, figures.hosts, len(figures.unserved), _least_hosts(point))
            rows.append((point.scenario.name, curve.name, *numbers, "yes" if point.proven else "no"))
    sheet = write_table(book, "Chart", fields, rows)
    unserved = any(row[4] for row in rows)
    for number, (what, column) in enumerate((("hosts", 4), ("sites unserved", 5))[: 1 + unserved] if rows else ()):
        chart = _scatter(sheet, column, spans) if curves.axis else _bars(sheet, column, len(rows) + 1)
        dress(chart, f"{what.capitalize()} in each scenario{in_title(' of ', sweep.sources)}", curves.label, what)
        sheet.add_chart(chart, f"I{2 + 28 * number}")


def _write_certainty(book: Book, sweep: Sweep) -> None:
    """Add the sheet Certainty: hosts of each scenario and how sure the budgets hold with them, fewest hosts first."""
    fields = (
        SCENARIO,
        Field("hosts", styles.COUNT),
        Field("sites unserved", styles.COUNT),
        Field("sites within budget", styles.SHARE, least=12),
        Field("chance that all are within budget", styles.SHARE, least=14),
        Field("chance, low end", styles.SHARE),
        Field("chance, high end", styles.SHARE),
    )
    rows: list[tuple[Value, ...]] = []
    known = [(p.figures.hosts, p.scenario.name, p.figures) for p in sweep.points if p.figures is not None]
    for hosts, name, figures in sorted(known, key=lambda one: one[:2]):
        c = figures.certainty
        if c is not None:
            rows.append((name, hosts, len(figures.unserved), c.within, c.all_within, c.all_low, c.all_high))
    sheet = write_table(book, "Certainty", fields, rows)
    chart = ScatterChart()
    chart.style, chart.scatterStyle = 2, "marker"
    for number, column in enumerate((4, 5)):
        x = Reference(sheet, min_col=2, min_row=2, max_row=len(rows) + 1)
        y = Reference(sheet, min_col=column, min_row=1, max_row=len(rows) + 1)
        series = Series(y, x, title_from_data=True)
        series.marker.symbol = ("circle", "diamond")[number]
        series.marker.graphicalProperties.solidFill = COLOURS[number]
        series.graphicalProperties.line.noFill = True
        chart.series.append(series)
    title = "How likely budgets are kept, by number of hosts (each mark is one scenario)"
    dress(chart, title, "hosts", "likely share, or chance")
    chart.y_axis.number_format = "0%"
    sheet.add_chart(chart, "I2")


def _least_hosts(point: Point) -> float | None:
    """Return the bound where it counts hosts."""
    return point.figures.bound if point.figures is not None and point.figures.objective == "hosts" else None


def _scatter(sheet: Worksheet, column: int, spans: Sequence[tuple[str, int, int]]) -> ScatterChart:
    chart = ScatterChart()
    chart.style = 2
    chart.scatterStyle = "lineMarker"
    for number, (name, first, last) in enumerate(spans):
        x = Reference(sheet, min_col=3, min_row=first, max_row=last)
        y = Reference(sheet, min_col=column, min_row=first, max_row=last)
        series = Series(y, x, title=cellsafe.one_line(name)[:80])
        colour = COLOURS[number % len(COLOURS)]
        series.graphicalProperties.line.solidFill = colour
        series.marker.symbol = ("circle", "square", "triangle", "diamond")[number // len(COLOURS) % 4]
        series.marker.graphicalProperties.solidFill = colour
        series.marker.graphicalProperties.line.solidFill = colour
        series.smooth = False
        chart.series.append(series)
    return chart


def _bars(sheet: Worksheet, column: int, last: int) -> BarChart:
    chart = BarChart()
    chart.type = "bar"
    chart.add_data(Reference(sheet, min_col=column, min_row=1, max_row=last), titles_from_data=True)
    chart.set_categories(Reference(sheet, min_col=1, min_row=2, max_row=last))
    chart.series[0].graphicalProperties.solidFill = COLOURS[0]
    chart.y_axis.scaling.min = 0
    return chart
