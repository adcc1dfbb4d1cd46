"""The workbook of a comparison: summary, designs, flip prices with their chart, and the choice for each site."""

from __future__ import annotations

import math
import os

from openpyxl.chart import BarChart, Reference

from planner.outputs import cellsafe, styles
from planner.outputs.cellsafe import Value
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.page import title_page
from planner.scenarios.book_parts import add_notes, end_summary, in_title
from planner.scenarios.charts import COLOURS, dress
from planner.scenarios.designs.design_comparison import Comparison
from planner.scenarios.designs.design_sentences import flips_in_words, headline

_TITLE = "Designs compared"
_PARTS = ("buy", "yearly", "power", "visits", "circuits")


def write_designs_workbook(found: Comparison, path: str | os.PathLike[str]) -> None:
    """Write the comparison as an .xlsx workbook, whole or not at all; raises InputError when it cannot be written."""
    book = Book()
    _write_summary(book, found)
    _write_designs(book, found)
    flips: list[list[Value]] = [
        [s.low, None if math.isinf(s.high) else s.high, s.own, s.hosts, s.shared_cost, "yes" if s.proven else "no"]
        for s in found.segments
    ]
    price = f"price of an own tie-breaker, {found.unit}"
    fields = (
        Field(f"{price}: from", styles.MONEY, least=20),
        Field("to", styles.MONEY, least=14),
        Field("clusters with own tie-breaker", styles.COUNT, least=14),
        Field("hosts", styles.COUNT),
        Field(f"cost of hosts and circuits, {found.unit}", styles.MONEY, least=16),
        Field("proven"),
    )
    write_table(book, "Break-even prices", fields, flips)
    sites: list[list[Value]] = [
        [c.site, c.clusters, c.design, c.pool, None if math.isinf(c.own_below) else c.own_below] for c in found.choices
    ]
    of_site = (
        Field("site"),
        Field("clusters", styles.COUNT),
        Field("choice", least=10),
        Field("pool"),
        Field(f"own tie-breaker is cheaper up to {found.unit}", styles.MONEY, least=16),
    )
    write_table(book, "Sites", of_site, sites)
    book.save(path, _TITLE, found.version)


def _write_summary(book: Book, found: Comparison) -> None:
    page = title_page(book, "Summary", _TITLE, cellsafe.one_line(headline(found)))
    page.section("Which mix is cheapest at which price")
    for line in flips_in_words(found):
        page.whole_row(cellsafe.one_line(line))
    add_notes(page, "What is missing", found.notes)
    page.section("How to read it")
    page.text_row(
        "costs",
        f"What {found.years:g} years cost, as money of today: buying at once, the rest at the start of each year.",
    )
    page.text_row(
        "dedicated", "A host for each cluster, at the cheapest pool that its site may use; room is not checked."
    )
    page.text_row(
        "down",
        "Expected, from the availability columns; blank where one is missing. Own tie-breakers have no such column.",
    )
    page.text_row("own tie-breaker", "A third vote for one cluster alone: built into the enclosure, or a third node.")
    end_summary(page, found)


def _write_designs(book: Book, found: Comparison) -> None:
    fields = (
        Field("design", least=30),
        Field("data nodes", styles.COUNT),
        Field("hosts", styles.COUNT),
        Field("own tie-breakers", styles.COUNT),
        Field("sites", styles.COUNT),
        Field("sites not served", styles.COUNT),
        *(Field(f"{part} {found.unit}", styles.MONEY, least=14) for part in (*_PARTS, "total")),
        Field(f"total a year {found.unit}", styles.MONEY, least=14),
        Field("down, minutes a year of a cluster", styles.MONEY, least=18),
        Field("proven"),
    )
    rows: list[list[Value]] = []
    for design in found.designs:
        row: list[Value] = [design.name, design.nodes, design.hosts, design.own, design.sites, design.unserved]
        row += [None if design.costs is None else getattr(design.costs, part) for part in (*_PARTS, "total")]
        rows.append([*row, design.a_year, design.down_minutes, "yes" if design.proven else "no"])
    sheet = write_table(book, "Designs", fields, rows)
    if any(design.costs is not None for design in found.designs):
        chart = BarChart()
        chart.grouping, chart.overlap = "stacked", 100
        chart.add_data(Reference(sheet, min_col=7, max_col=11, min_row=1, max_row=len(rows) + 1), titles_from_data=True)
        chart.set_categories(Reference(sheet, min_col=1, min_row=2, max_row=len(rows) + 1))
        for series, colour in zip(chart.series, COLOURS, strict=False):
            series.graphicalProperties.solidFill = colour
        dress(chart, f"Costs of each design{in_title(' for ', found.sources)}", "", found.unit)
        sheet.add_chart(chart, f"A{len(rows) + 4}")
