"""Sheet Hosts: every host that runs, how full it is, what its loss would hit, and a check that follows hand edits."""

from __future__ import annotations

from collections.abc import Iterator

from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from planner.counted_words import counted
from planner.outputs import headings, styles
from planner.outputs.facts import Facts, margin_ms
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.sheet_text import Content, Formula
from planner.plan import Host

_LOAD = "load, share of cap"
_FIELDS = (
    Field(headings.HOST),
    Field(headings.HUB),
    Field(headings.POOL),
    Field(headings.RELEASE),
    Field(headings.CLUSTERS, styles.COUNT),
    Field(headings.CAP, styles.COUNT),
    Field(headings.USABLE, styles.COUNT),
    Field("free", styles.COUNT),
    Field(_LOAD, styles.SHARE, least=18),
    Field("worst margin ms", styles.MS, least=12),
    Field(headings.ORIGIN, least=18),
    Field("blast radius", least=24),
    Field(headings.LIVE_CHECK, styles.FORMULA, least=14),
)
_LETTER = {field.heading: get_column_letter(number) for number, field in enumerate(_FIELDS, start=1)}
# Columns of the sheet Assignments that the check adds up: clusters by host.
_CLUSTERS, _HOST = "D", "F"
_SPARE_ROWS = 500  # so that rows which the team adds below the list are counted too


def write_hosts(book: Book, facts: Facts) -> Worksheet:
    """Add the sheet; one row for each host, in the order of the plan. Only the live check is a formula."""
    sheet = write_table(book, headings.HOSTS, _FIELDS, _rows(facts))
    last = max(2, 1 + facts.plan.hosts)
    load, check, origin = (_LETTER[name] for name in (_LOAD, headings.LIVE_CHECK, headings.ORIGIN))
    sheet.conditional_formatting.add(f"{load}2:{load}{last}", styles.bar())
    sheet.conditional_formatting.add(f"{check}2:{check}{last}", styles.when(f'LEFT(${check}2,4)="over"', "bad"))
    sheet.conditional_formatting.add(f"{origin}2:{origin}{last}", styles.when(f'${origin}2="{headings.NEW}"', "plain"))
    return sheet


def _rows(facts: Facts) -> Iterator[tuple[Content, ...]]:
    for row, host in enumerate(facts.plan.host_list, start=2):
        assignments = facts.by_host.get(host.host, [])
        sites = len({assignment.site for assignment in assignments})
        yield (
            host.host,
            host.hub,
            host.pool,
            host.release,
            host.clusters,
            host.cap,
            host.usable,
            host.usable - host.clusters,
            host.clusters / host.cap if host.cap else None,
            min(map(margin_ms, assignments), default=None),
            _origin(host),
            f"{counted(host.clusters, 'cluster')} at {counted(sites, 'site')}",
            _live_check(facts, host, row),
        )


def _origin(host: Host) -> str:
    return headings.EXISTING if host.existing else headings.NEW


def _live_check(facts: Facts, host: Host, row: int) -> Formula:
    """Compare the clusters that the sheet Assignments now gives ``host``, in row number ``row``, with what is usable.

    EXACT inside SUMPRODUCT, not SUMIFS: SUMIFS takes host "0042" for 42 and "A*" for a pattern, and
    ignores case. Plain ranges, because not every program follows references to table columns.
    """
    last = 1 + len(facts.plan.assignments) + _SPARE_ROWS
    hosts = f"{headings.ASSIGNMENTS}!${_HOST}$2:${_HOST}${last}"
    clusters = f"{headings.ASSIGNMENTS}!${_CLUSTERS}$2:${_CLUSTERS}${last}"
    usable = f"${_LETTER[headings.USABLE]}{row}"
    now = f"SUMPRODUCT(--EXACT({hosts},$A{row}),{clusters})"
    over = sum(assignment.clusters for assignment in facts.by_host.get(host.host, [])) - host.usable
    formula = f'=IF({now}<={usable},"ok",({now}-{usable})&" too many")'
    return Formula(formula, f"{over} too many" if over > 0 else "ok")
