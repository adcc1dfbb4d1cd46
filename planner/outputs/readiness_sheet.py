"""Sheets Readiness and Readiness overview: what is still to be done or found out at each site, and how often."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import TYPE_CHECKING

from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from planner.counted_words import counted
from planner.fleet import Fleet
from planner.outputs import cellsafe, headings, styles
from planner.outputs.cellsafe import Value
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.page import title_page
from planner.outputs.plan_sentences import ITEM_SEVERITY, MANAGEMENT_BY, READINESS, missing_in_words, readiness_headline

if TYPE_CHECKING:
    from planner.readiness import Readiness, SiteReadiness

_OUTCOME = "readiness"
_FIELDS = (
    Field(headings.SITE),
    Field(headings.NAME, most=28),
    Field(headings.REGION, most=20),
    Field(headings.CLUSTERS, styles.COUNT),
    Field(_OUTCOME, least=16),
    Field("items open", styles.COUNT, least=9),
    Field("items not known", styles.COUNT, least=14),
    Field("what is open", least=30, most=50),
    Field("what to do", least=30, most=40),
    Field("what is not known", least=30, most=40),
    Field("columns to fill in", least=20, most=24),
)
_PALE = {"ready": "good", "ready_after": "watch", "not_a_fit": "bad", "no_host_needed": "quiet"}
_PALE_ITEM = {"blocks": "bad", "open": "watch", "unknown": "note"}
_MILD_FIRST = ("unknown", "open", "blocks")


def write_readiness(fleet: Fleet, readiness: Readiness, path: str | os.PathLike[str]) -> None:
    """Write the audit as an .xlsx workbook of its own; raises InputError when the file cannot be written."""
    book = Book()
    add_readiness(book, fleet, readiness)
    book.workbook.move_sheet(headings.READINESS_OVERVIEW, -1)
    book.save(path, "Readiness for a shared tie-breaker host")


def add_readiness(book: Book, fleet: Fleet, readiness: Readiness) -> None:
    """Add both sheets."""
    _add_sites(book, fleet, readiness)
    _add_overview(book, readiness)


def _add_sites(book: Book, fleet: Fleet, readiness: Readiness) -> None:
    """Add one row for each site; to filter by, each check has a column with a word of its own."""
    checks = [Field(check.code, least=10, most=14) for check in readiness.checks]
    sheet = write_table(book, headings.READINESS, (*_FIELDS, *checks), _rows(fleet, readiness))
    last = max(2, 1 + len(readiness.sites))
    for outcome, pale in _PALE.items():
        _colour(sheet, "E", "E", last, READINESS[outcome], pale)
    first, final = (get_column_letter(len(_FIELDS) + step) for step in (1, len(checks)))
    for severity, pale in _PALE_ITEM.items():
        _colour(sheet, first, final, last, ITEM_SEVERITY[severity], pale)
    sheet.print_area = f"A1:{get_column_letter(len(_FIELDS))}{last}"


def _colour(sheet: Worksheet, first: str, final: str, last: int, word: str, pale: str) -> None:
    sheet.conditional_formatting.add(f"{first}2:{final}{last}", styles.when(f'{first}2="{word}"', pale))


def _rows(fleet: Fleet, readiness: Readiness) -> Iterator[tuple[Value, ...]]:
    missing = set(readiness.missing)  # what is missing everywhere stands on the overview, once
    about = zip(fleet.sites["name"], fleet.sites["region"], readiness.sites, strict=True)
    for name, region, site in about:
        unknown = [item for item in site.items if item.severity == "unknown"]
        single = [item for item in unknown if not item.is_only_of(missing)]
        known = [item for item in site.items if item.severity != "unknown"]
        yield (
            site.site,
            cellsafe.plain(name),
            cellsafe.plain(region),
            site.clusters,
            READINESS[site.outcome],
            len(known),
            len(unknown),
            "\n".join(f"{item.code}: {cellsafe.one_line(item.detail)}" for item in known),
            "\n".join(dict.fromkeys(item.remedy for item in known)),
            "; ".join(dict.fromkeys(cellsafe.one_line(item.detail) for item in single)),
            ", ".join(dict.fromkeys(column for item in single for column in item.columns)),
            *_words(site, readiness),
        )


def _words(site: SiteReadiness, readiness: Readiness) -> Iterator[str]:
    """Yield what each check found: the worst of its items, ok, or that it was not asked."""
    found = {item.code: mild for mild in _MILD_FIRST for item in site.items if item.severity == mild}
    for check in readiness.checks:
        if site.outcome == "no_host_needed":
            yield ""
        elif check.code in found:
            yield ITEM_SEVERITY[found[check.code]]
        else:
            yield "ok" if check.asked else "not asked"


def _add_overview(book: Book, readiness: Readiness) -> None:
    page = title_page(
        book, headings.READINESS_OVERVIEW, "Readiness for a shared tie-breaker host", readiness_headline(readiness)
    )
    page.section("Sites by outcome")
    for outcome, number in readiness.counts.items():
        clusters = sum(site.clusters for site in readiness.sites if site.outcome == outcome)
        page.row(READINESS[outcome], number, counted(clusters, "cluster"), styles.COUNT, _PALE[outcome])
    if missing := readiness.missing:
        page.section("Missing for the whole fleet")
        page.whole_row(missing_in_words(missing))
    page.section("Most frequent items")
    kinds = readiness.apart_from(missing).most_frequent
    for kind in kinds:
        page.row(f"{kind.code}: {ITEM_SEVERITY[kind.severity]}", kind.sites, kind.remedy, styles.COUNT)
    if not kinds:
        page.whole_row("None.")
    if readiness.management:
        page.section(f"Management servers needed, {MANAGEMENT_BY[readiness.management_by]}")
        for count in readiness.management:
            words = f"{counted(count.clusters, 'cluster')} below the management floor"
            page.row(count.hub or "no hub yet", count.sites, words, styles.COUNT)
    page.section("What is asked of every site")
    for check in readiness.checks:
        page.text_row(check.code, check.asks if check.asked else f"{check.asks} (not asked: the policy sets none)")
    page.section("What is assumed")
    for number, sentence in enumerate(readiness.assumptions, start=1):
        page.whole_row(f"{number}. {sentence}")
