"""Sheet Measure first: pairs without a measured round-trip time that decide the host count or who is served."""

from __future__ import annotations

from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs import cellsafe, headings, styles
from planner.outputs.facts import Facts
from planner.outputs.grid import Book, Field, write_table

_FIELDS = (
    Field("rank", styles.COUNT),
    Field(headings.SITE),
    Field(headings.NAME, most=28),
    Field(headings.HUB),
    Field(headings.RTT, styles.MS, least=13),
    Field(headings.EVIDENCE),
    Field(headings.BUDGET, styles.MS, least=13),
    Field("if measured", least=12),
    Field("pairs to measure together", styles.COUNT, least=11),
    Field("hosts after measuring", styles.COUNT, least=9),
    Field("unserved after measuring", styles.COUNT, least=11),
    Field("in words", least=40, most=80),
)


def write_measure_first(book: Book, facts: Facts) -> Worksheet:
    """Add the sheet; rows of one rank have their effect only together."""
    rows = (
        (
            row.rank,
            row.site,
            cellsafe.plain(facts.names.get(row.site)),
            row.hub,
            row.rtt_ms,
            row.evidence,
            row.budget_ms,
            f"{row.outcome} budget",
            row.together,
            row.hosts,
            row.unserved,
            row.words,
        )
        for row in facts.plan.measure_first
    )
    return write_table(book, headings.MEASURE_FIRST, _FIELDS, rows)
