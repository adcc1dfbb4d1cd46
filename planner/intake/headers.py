"""Titles and headers -> canonical names: any letter case, any separator, aliases, units in brackets."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np

from planner.columns import POLICY, SHEETS, Column, Sheet
from planner.fleet import Ints
from planner.intake.findings import Findings, closest, show
from planner.intake.rawtable import RawSheet, RawTable, broken, is_blank, is_empty, tidy

# The header is looked for in this many rows from the top: titles and notes may stand above it.
_HEADER_WITHIN = 10
_ALIKE = 0.85


def plain(text: object) -> str:
    """Return a name in the form in which names are compared.

    >>> plain("RTT (ms)"), plain("Site-ID *")
    ('rtt_ms', 'site_id')
    """
    return re.sub(r"[\W_]+", "_", tidy(str(text)).casefold()).strip("_")


_SHEETS = {plain(name): sheet for sheet in SHEETS for name in (sheet.name, *sheet.aliases)}


@cache
def _columns(sheet: Sheet) -> dict[str, Column]:
    """Return the columns of a sheet (of a fleet, or of a plan that is read back) by every name they go by."""
    return {plain(name): column for column in sheet.columns for name in (column.name, *column.aliases)}


def sheet_of(title: str) -> Sheet | None:
    """Return the sheet that a title stands for, or None."""
    return _SHEETS.get(plain(title))


def column_of(header: object, sheet: Sheet) -> Column | None:
    """Return the column of ``sheet`` that a header stands for, or None."""
    return _columns(sheet).get(plain(header)) if isinstance(header, str) else None


def similar_sheet(title: str) -> str:
    """Return the sheet name that ``title`` may have been meant to be, or an empty text."""
    return closest(title, [sheet.name for sheet in SHEETS], _ALIKE)


def table_of(raw: RawSheet, sheet: Sheet, findings: Findings) -> RawTable:
    """Return the rows below the header as columns; blank rows are left out, and row numbers kept.

    The header is the row near the top that names most columns of ``sheet``, else the first row that is not blank.
    """
    filled = [i for i, row in enumerate(raw.cells) if not all(map(is_blank, row))]
    candidates = filled[:_HEADER_WITHIN]
    header = max(candidates, key=lambda i: sum(column_of(cell, sheet) is not None for cell in raw.cells[i]), default=0)
    body = [i for i in filled if i > header]
    width = max((len(raw.cells[i]) for i in (header, *body)), default=0) if filled else 0
    cells = np.full((len(body), width), "", dtype=object)
    for position, i in enumerate(body):
        row = raw.cells[i]
        cells[position, : len(row)] = row
    names = [*raw.cells[header], *[""] * width][:width] if filled else []
    rows: Ints = np.array(body, dtype=np.int64) + 1
    table = RawTable(raw.file, raw.title, tuple(names), tuple(cells.T), rows, header + 1, raw.looks, raw.text_only)
    if candidates and candidates[0] != header:
        findings.add("rows_above", table.place(), row=header + 1)
    ranges = [address for _, last, address in raw.merged if last > header + 1]
    if ranges:
        more = f" and {len(ranges) - 3} more" if len(ranges) > 3 else ""
        findings.add("merged_cells", table.place(), ranges=", ".join(ranges[:3]) + more)
    return table


@dataclass(frozen=True, slots=True)
class Match:
    """Which column of a raw table holds what: positions of canonical columns, and of the user's own."""

    known: dict[str, int]
    own: dict[str, int]


def match_headers(table: RawTable, sheet: Sheet, findings: Findings, required: Iterable[Column]) -> Match:
    """Return where the columns of ``sheet`` stand in ``table``; missing, repeated and unknown ones become findings."""
    at: dict[str, list[int]] = {}
    own: dict[str, list[int]] = {}
    for position, header in enumerate(table.headers):
        if not is_usable(table, position, findings):
            continue
        column = column_of(header, sheet)
        names, name = (own, header_text(header)) if column is None else (at, column.name)
        names.setdefault(name, []).append(position)
    for positions in (*at.values(), *own.values()):
        _report_repeated(table, positions, findings)
    for column in required:
        if column.name not in at:
            findings.add("column_missing", table.place(), column=column.name, meaning=column.meaning)
    free = [name for name in sheet.names if name not in at]
    # Beside settings stand notes for people, which have no table to be handed through with.
    for name, positions in own.items() if sheet is not POLICY else ():
        _report_own(table, name, positions[0], free, findings)
    return Match({name: p[0] for name, p in at.items()}, {name: p[0] for name, p in own.items()})


def header_text(header: object) -> str:
    """Return a header as text: whole floats, as spreadsheets store numbers, without their fraction."""
    return tidy(header) if isinstance(header, str) else show(header)


def is_usable(table: RawTable, position: int, findings: Findings) -> bool:
    """Return whether a column has a header; one that has values without it becomes a finding."""
    header = table.headers[position]
    trouble = broken(header)
    if trouble is not None:
        value = f"the error {trouble.text}" if trouble.kind == "error" else "a formula whose result was never saved"
        findings.add("header_broken", table.header_place(position), value=value)
        return False
    if not is_blank(header):
        return True
    if not is_empty(table.columns[position]):
        findings.add("header_blank", table.header_place(position))
    return False


def _report_repeated(table: RawTable, positions: list[int], findings: Findings) -> None:
    if len(positions) > 1:
        headers = " and ".join(show(header_text(table.headers[p])) for p in positions)
        places = [table.header_place(p) for p in positions]
        findings.add("column_repeated", places[1], headers=headers, letters=", ".join(p.cell for p in places))


def _report_own(table: RawTable, name: str, position: int, free: list[str], findings: Findings) -> None:
    meant = closest(plain(name), free, _ALIKE)
    place, header = table.header_place(position), show(name)
    if meant:
        findings.add("column_misspelt", place, column=name, header=header, guess=meant)
    else:
        findings.add("column_unknown", place, column=name, header=header)
