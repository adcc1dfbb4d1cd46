"""The team's workbook as it comes back: what people typed on Assignments and Steps, cell by cell."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from openpyxl.utils import get_column_letter

from planner.columns import Column, Sheet
from planner.counted_words import first_few
from planner.errors import InputError
from planner.fleet import Finding
from planner.intake.dates import dates
from planner.intake.files import read_sheets
from planner.intake.findings import Findings, Place
from planner.intake.headers import table_of
from planner.intake.names import plain
from planner.intake.rawtable import Broken, Cells, RawSheet, RawTable
from planner.intake.tables import TypedSheet, read_table
from planner.outputs import headings
from planner.outputs.progress_words import status_of
from planner.progress import Cell, Copy, Typed

_HEADINGS_WITHIN = 10  # rows from the top
_SITE = Column(headings.SITE, "id", "id of the site", required=True)
_RETURNED = Sheet(
    headings.ASSIGNMENTS,
    "one row for each site and the host that serves it",
    columns=(_SITE, Column(headings.HOST, "id", "host that serves the site")),
)
_STEPS = Sheet(
    headings.STEPS,
    "one row for each step of the rollout",
    columns=(
        Column(headings.STEP, "text", "id of the step", required=True),
        Column(headings.SITE, "id", "id of the site"),
        *(Column(name, "id", "name of a host") for name in (headings.FROM_HOST, headings.TO_HOST, headings.HOST)),
        Column(headings.TICKET, "id", "number of the ticket, zeros in front kept"),
    ),
)
# Headings that the team's columns are told by, whatever letter case and spaces people give them.
_TEAM = {
    plain(name): name
    for name in (
        *(headings.PROGRESS, headings.DATE, headings.INITIALS, headings.RTT_AFTER, headings.VOTES_SEEN),
        *(headings.REMARKS, headings.PLANNED_HOST, headings.CURRENT_HOST, headings.ACTION, headings.WAVE),
        *(headings.KIND, headings.RELEASE, headings.STARTS, headings.ENDS, headings.TIME_ZONE, headings.CAUTIONS),
    )
}
# What a sheet has that is one of the tables under a title of somebody's own.
_SIGNS = {
    headings.ASSIGNMENTS: frozenset(map(plain, (headings.SITE, headings.HOST, headings.ACTION, headings.PROGRESS))),
    headings.STEPS: frozenset(map(plain, (headings.STEP, headings.KIND, headings.SITE, headings.PROGRESS))),
}
_TOLD = ("csv_encoding", "merged_cells")  # what else may be read otherwise than people meant it
_READ = {plain(name) for name in (headings.ASSIGNMENTS, headings.STEPS)}
# Made by an earlier merge; of clashes there may be several sheets.
_OWN = tuple(plain(name) for name in (headings.TEAM_PROGRESS, headings.BURN_DOWN, headings.CLASHES, headings.RECORD))


def read_copies(paths: Iterable[str | os.PathLike[str]], statuses: Mapping[str, str] | None = None) -> tuple[Copy, ...]:
    """Return each workbook as it came back: plan workbooks, rollout workbooks, and merged ones, which are both.

    Status words of many languages are taken for one of `headings.PROGRESS_WORDS`, and so are those that ``statuses``
    maps; dates are read as intake reads them. What is read otherwise than it was written is noted, and what cannot be
    read stays as it is, with a note.

    Raises InputError with what is wrong in any of them.
    """
    copies: list[Copy | None] = []
    found: list[Finding] = []
    for path in paths:
        findings = Findings()
        one = _copy(Path(path), statuses or {}, findings)
        found += findings.result()
        told = [str(finding) for finding in findings.result() if finding.code in _TOLD]
        copies.append(one if one is None else replace(one, notes=(*one.notes, *told)))
    # A row without its site is left out, and every cell of it noted.
    wrong = [one for one in found if one.severity == "error" and one.code != "required_blank"]
    if wrong:
        raise InputError(tuple(wrong))
    return tuple(copy for copy in copies if copy is not None)


def _copy(path: Path, statuses: Mapping[str, str], findings: Findings) -> Copy | None:
    sheets = read_sheets(path, lambda title: not plain(title).startswith(_OWN), findings).sheets
    # A sheet of somebody's own may be called nearly as a table is: the exact title counts first.
    ranked = sorted(sheets, key=lambda sheet: sheet.title in (headings.ASSIGNMENTS, headings.STEPS))
    by_name = {plain(sheet.title): sheet for sheet in ranked}
    renamed = {} if _READ & set(by_name) else _by_shape(sheets)
    by_name |= renamed
    others = _others([sheet for sheet in sheets if plain(sheet.title) not in _READ or sheet not in by_name.values()])
    assignments, steps = (by_name.get(plain(name)) for name in (headings.ASSIGNMENTS, headings.STEPS))
    if assignments is None and steps is None:
        if not findings.any_error:
            meaning = "it has a row for each site, and columns for the team"
            findings.add("sheet_missing", Place(path.name), sheet=headings.ASSIGNMENTS, meaning=meaning)
        return None
    reading = _Reading(path.name, statuses, findings)
    for name, sheet in renamed.items():
        reading.notes.append(f'{path.name}: the sheet "{sheet.title}" is taken for the sheet {name.capitalize()}.')
    rows = () if assignments is None else reading.rows(assignments, _RETURNED)
    listed = () if steps is None else reading.rows(steps, _STEPS)
    comments = tuple(
        (sheet.title, sheet.place(*at).cell, text) for sheet in sheets for at, text in sheet.comments.items()
    )
    return Copy(path.name, rows, others, listed, reading.all_notes(), comments)


def _by_shape(sheets: Iterable[RawSheet]) -> dict[str, RawSheet]:
    """Return sheets that are tables of ours by their headings, under the name of the table."""
    found: dict[str, RawSheet] = {}
    for sheet in sheets:
        heads = [{plain(cell) for cell in row if isinstance(cell, str)} for row in sheet.cells[:_HEADINGS_WITHIN]]
        for name, signs in _SIGNS.items():
            if any(signs <= head for head in heads):
                found.setdefault(plain(name), sheet)
    return found


def _told_apart(table: RawTable, sheet: Sheet) -> RawTable:
    """Return a table with the team's headings as we write them, and with a number at own ones that come again."""
    ours = {plain(name) for name in (*_TEAM, *sheet.names)}
    seen: dict[str, int] = {}
    headers: list[Any] = []
    for header in table.headers:
        name = _TEAM.get(plain(header), header) if isinstance(header, str) else header
        if isinstance(name, str) and plain(name) and (plain(name) not in ours or name == headings.REMARKS):
            seen[name.strip()] = seen.get(name.strip(), 0) + 1
            name = f"{name.strip()} ({seen[name.strip()]})" if seen[name.strip()] > 1 else name
        headers.append(name)
    return replace(table, headers=tuple(headers))


class _Reading:
    """The tables of one workbook, and notes on what was read otherwise than it was written."""

    def __init__(self, file: str, statuses: Mapping[str, str], findings: Findings) -> None:
        self._file, self._statuses, self._findings = file, statuses, findings
        self.notes: list[str] = []
        self._taken: dict[tuple[str, str], list[str]] = {}

    def all_notes(self) -> tuple[str, ...]:
        """Return the notes, those on status words by word."""
        taken = [
            f'{self._file} {first_few(cells)}: status "{typed}" is taken for "{status}".'
            for (typed, status), cells in self._taken.items()
        ]
        return (*self.notes, *taken)

    def rows(self, raw: RawSheet, sheet: Sheet) -> tuple[Mapping[str, Cell], ...]:
        """Return the rows of a table by heading; rows that are none, such as titles of sections, become notes."""
        table = _told_apart(table_of(raw, sheet, self._findings), sheet)
        self._note_above(raw, table)
        self._note_formulas(table)
        read = read_table(table, sheet, self._findings)
        for column in sheet.columns[:1] if sheet is _STEPS else sheet.columns:
            if column.name not in read.match.known and not self._findings.any_error:
                self._findings.add("column_missing", Place(self._file, table.title), column=column.name,
                                   meaning=column.meaning)  # fmt: skip
        if sheet is _STEPS and headings.STEP in read.match.known:
            read = read.only((read.frame[headings.STEP] != "").to_numpy(dtype=np.bool_))
        self._note_left_out(table, read)
        if len(read.frame) and headings.PROGRESS not in read.match.own:
            words = f'the column "{headings.PROGRESS}" is missing, so nothing here counts as done. Call it so again'
            self.notes.append(f"{self._file} {table.title}: {words}.")
        where = {**read.match.known, **read.match.own}
        columns = {str(name): read.frame[name].tolist() for name in read.frame.columns if name in where}
        if headings.DATE in columns:
            columns[headings.DATE] = self._dates(read, where[headings.DATE], columns[headings.DATE])
        rows = []
        for position in range(len(read.frame)):
            places = {name: read.raw.place(position, where[name]).where for name in columns}
            cells = {name: self._cell(_typed(v[position]), places[name]) for name, v in columns.items()}
            rows.append(self._with_status(cells))
        return tuple(rows)

    def _cell(self, value: Typed, where: str) -> Cell:
        return Cell(value, where, f"{self._file} {where}")

    def _note_formulas(self, table: RawTable) -> None:
        """Note the cells with formulas whose results no spreadsheet program has saved: nothing is read there."""
        cells = [
            f"{self._file} {table.place(position, index).where}"
            for index, column in enumerate(table.columns)
            for position, value in enumerate(column.tolist())
            if isinstance(value, Broken) and value.kind == "formula"
        ]
        if cells:
            words = (
                "a formula without a saved result is read as blank. Open the file in a spreadsheet program and save it"
            )
            self.notes.append(f"{first_few(cells)}: {words}.")

    def _note_above(self, raw: RawSheet, table: RawTable) -> None:
        """Note each cell above the headings, such as a title that somebody put there."""
        for number, row in enumerate(raw.cells[: max(0, table.header_row - table.header_rows)], start=1):
            for index, value in enumerate(row, start=1):
                if (typed := _typed(value)) is not None:
                    where = raw.place(number, index).where
                    self.notes.append(f'{self._file} {where}: "{typed}" stands above the headings.')

    def _note_left_out(self, table: RawTable, read: TypedSheet) -> None:
        """Note each cell of the rows that are no rows of the table, so that nobody's words are lost."""
        kept = set(read.raw.rows.tolist())
        for position, number in enumerate(table.rows.tolist()):
            if number in kept:
                continue
            for index, column in enumerate(table.columns):
                typed = _typed(column[position])
                if typed is not None:
                    place = table.place(position, index)
                    self.notes.append(f'{self._file} {place.where}: "{typed}" is in no row of a site or step.')

    def _dates(self, read: TypedSheet, index: int, values: list[Any]) -> list[Any]:
        """Return the dates of a column; what is none stays as it was typed."""
        findings = Findings()
        cells = Cells(Column(headings.DATE, "date", "day of the change"), read.raw, index, findings)
        typed = [_typed(value) if isinstance(value, Broken) else value for value in cells.objects()]
        days = dates(
            cells.holding(np.array(["" if value is None else value for value in typed], dtype=object))
        ).tolist()
        self.notes += [str(finding) for finding in findings.result()]
        return [typed if day is None else day for day, typed in zip(days, values, strict=True)]

    def _with_status(self, cells: dict[str, Cell]) -> dict[str, Cell]:
        """Return a row with its status in the words of the plan, or as typed where it means none of them."""
        cell = cells.get(headings.PROGRESS)
        if cell is None or cell.value is None:
            return cells
        typed = str(cell.value)
        status = status_of(typed, self._statuses)
        if status is None or status == typed:
            return cells
        if typed.casefold() != status:
            self._taken.setdefault((typed, status), []).append(cell.where)
        return {**cells, headings.PROGRESS: self._cell(status, cell.where)}


def _typed(value: Any) -> Typed:
    if isinstance(value, Broken):
        return value.text or None
    if value is None or value is pd.NaT or value != value or not str(value).strip():
        return None
    if isinstance(value, pd.Timestamp):
        return value.to_pydatetime()
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return value.strip() if isinstance(value, str) else value


def _others(sheets: Iterable[RawSheet]) -> dict[str, str]:
    """Return the cells of other sheets that are not blank; the live check is worked out and not typed."""
    found = {}
    for sheet in sheets:
        head = [plain(value) for value in sheet.cells[0]] if sheet.cells else []
        skipped = head.index(plain(headings.LIVE_CHECK)) if plain(headings.LIVE_CHECK) in head else None
        for number, row in enumerate(sheet.cells, start=1):
            for index, value in enumerate(row):
                typed = _typed(value)
                if typed is not None and index != skipped:
                    found[f"{sheet.title}!{get_column_letter(index + 1)}{number}"] = str(typed)
    return found
