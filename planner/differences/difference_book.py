"""A comparison as a workbook: summary, hosts, sites, the changes of the fleets, and the plans in between."""

from __future__ import annotations

import os

from planner.differences.difference import CAUSES, Difference, HostDifference, SiteDifference
from planner.outputs import CAUTIONS, cellsafe, styles
from planner.outputs.cellsafe import Value
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.page import title_page

_TITLE = "What changed, and why"
_WIDTHS = {"A": 38, "B": 28, "C": 28, "D": 30}
_LISTED = 20  # rows behind a difference that a cell names


def write_difference_workbook(found: Difference, path: str | os.PathLike[str]) -> None:
    """Write the comparison as an .xlsx workbook, whole or not at all; raises InputError when it cannot be written."""
    book = Book()
    _write_summary(book, found)
    _write_hosts(book, found)
    _write_sites(book, found)
    _write_changes(book, found)
    if found.between:
        _write_between(book, found)
    book.save(path, _TITLE, found.version)


def _write_summary(book: Book, found: Difference) -> None:
    page = title_page(book, "Summary", _TITLE, cellsafe.one_line(found.headline), _WIDTHS)
    for note in found.notes:
        page.whole_row(cellsafe.one_line(note))
    page.section("Causes")
    for line in found.words:
        page.whole_row(cellsafe.one_line(line))
    page.section("Figures")
    looks = (styles.LABEL, styles.TEXT, styles.TEXT)
    page.table_row(("", cellsafe.one_line(found.old.name), cellsafe.one_line(found.new.name)), looks)
    for figure in found.figures:
        page.table_row((figure.label, figure.old_text, figure.new_text), looks)
    page.section("How to read it")
    page.text_row("other host", "The site is on another host in the new plan: a move, if the old plan was carried out.")
    page.text_row(
        "cause", 'Seen in the two fleets, or shown by an intermediate plan; the column "found by" says which.'
    )
    page.text_row(
        "intermediate plans",
        "They apply one kind of change after the other, each with as few moves as it can. The effects add up to the "
        "total. In another order each effect can be larger or smaller.",
    )
    page.section("Before anything is changed")
    for caution in CAUTIONS:
        page.whole_row(caution)
    page.section("Where it comes from")
    for side in (found.old, found.new):
        page.text_row(cellsafe.one_line(side.name), cellsafe.one_line(f"{side.what}. {side.headline}"))
        for source in side.sources:
            page.text_row(cellsafe.one_line(source.name), f"SHA-256 {source.sha256}")
    page.row("castingvote", found.version)


_CAUSE_FIELDS = (
    Field("cause", least=22),
    Field("why", least=40, most=80),
    Field("found by", least=14),
    Field("changed rows behind it", least=24, most=60),
)


def _cause_cells(row: HostDifference | SiteDifference) -> list[Value]:
    how = "planning" if row.planned else "" if row.cause == "unknown" else "the files"
    return [row.cause_in_words, row.why, how, _few(row.behind)]


def _few(rows: tuple[str, ...]) -> str:
    more = f" and {len(rows) - _LISTED:,} more" if len(rows) > _LISTED else ""
    return ", ".join(rows[:_LISTED]) + more


def _write_hosts(book: Book, found: Difference) -> None:
    rows: list[list[Value]] = [
        [
            row.host,
            row.hub,
            row.what,
            row.old_clusters,
            row.new_clusters,
            *_cause_cells(row),
        ]
        for row in found.hosts
    ]
    fields = (
        Field("host"),
        Field("hub"),
        Field("difference", least=16),
        Field("clusters, old", styles.COUNT),
        Field("clusters, new", styles.COUNT),
        *_CAUSE_FIELDS,
    )
    write_table(book, "Hosts", fields, rows)


def _write_sites(book: Book, found: Difference) -> None:
    rows: list[list[Value]] = [[row.site, row.what, row.old, row.new, *_cause_cells(row)] for row in found.sites]
    fields = (Field("site"), Field("difference", least=14), Field("old", least=14), Field("new", least=14))
    write_table(book, "Sites", (*fields, *_CAUSE_FIELDS), rows)


def _write_changes(book: Book, found: Difference) -> None:
    rows: list[list[Value]] = [
        [row.sheet, row.id, row.hub, row.column, row.old, row.new, CAUSES[row.cause]] for row in found.changes
    ]
    fields = (
        Field("sheet", least=10),
        Field("row", least=14),
        Field("hub"),
        Field("column", least=18),
        Field("old", least=14),
        Field("new", least=14),
        Field("kind of change", least=20),
    )
    write_table(book, "Changes of the fleet", fields, rows)


def _write_between(book: Book, found: Difference) -> None:
    rows: list[list[Value]] = [
        [
            CAUSES[step.cause],
            step.hosts,
            step.unserved,
            step.uncovered,
            len(step.moved),
            "yes" if step.proven else "no",
            _few(step.moved),
            _few(step.behind),
        ]
        for step in found.between
    ]
    fields = (
        Field("changes so far, last one added", least=24),
        Field("hosts", styles.COUNT),
        Field("unserved", styles.COUNT),
        Field("without standby", styles.COUNT),
        Field("had to move", styles.COUNT),
        Field("proven"),
        Field("sites that had to move", least=24, most=60),
        Field("changed rows behind it", least=24, most=60),
    )
    write_table(book, "Intermediate plans", fields, rows)
