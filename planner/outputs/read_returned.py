"""The team's workbook as it comes back: what people typed on Assignments or Steps, cell by cell."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd
from openpyxl.utils import get_column_letter

from planner.columns import Column, Sheet
from planner.errors import InputError
from planner.intake.files import read_sheets
from planner.intake.findings import Findings, Place
from planner.intake.headers import table_of
from planner.intake.names import plain
from planner.intake.rawtable import RawSheet, RawTable
from planner.intake.tables import read_table
from planner.outputs import headings
from planner.outputs.read_workbook import leaving_rows
from planner.progress import Cell, Copy, Typed

_SITE = Column(headings.SITE, "id", "id of the site", required=True)
_RETURNED = Sheet(
    headings.ASSIGNMENTS,
    "one row for each site and the host that serves it",
    columns=(_SITE, Column(headings.HOST, "id", "host that serves the site", required=True)),
)
_LEAVING = Sheet(_RETURNED.name, _RETURNED.meaning, columns=(_SITE, Column(headings.HOST, "id", "blank")))
_STEPS = Sheet(
    headings.STEPS,
    "one row for each step of the rollout",
    columns=(Column(headings.STEP, "text", "id of the step"), Column(headings.SITE, "id", "id of the site")),
)
_READ = {plain(name) for name in (headings.ASSIGNMENTS, headings.STEPS)}
# Made by an earlier merge; of clashes there may be several sheets.
_OWN = tuple(plain(name) for name in (headings.TEAM_PROGRESS, headings.BURN_DOWN, headings.CLASHES))
_CHANGES = ("attach", "move", "detour")


def read_copies(paths: Iterable[str | os.PathLike[str]]) -> tuple[Copy, ...]:
    """Return each workbook as it came back; plan workbooks, or rollout workbooks, whose Steps are told by site.

    Raises InputError with what is wrong in any of them.
    """
    findings = Findings()
    copies = [_copy(Path(path), findings) for path in paths]
    errors = tuple(finding for finding in findings.result() if finding.severity == "error")
    if errors:
        raise InputError(errors)
    return tuple(copy for copy in copies if copy is not None)


def _copy(path: Path, findings: Findings) -> Copy | None:
    sheets = read_sheets(path, lambda title: not plain(title).startswith(_OWN), findings).sheets
    by_name = {plain(sheet.title): sheet for sheet in sheets}
    others = _others([sheet for name, sheet in by_name.items() if name not in _READ])
    assignments, steps = (by_name.get(plain(name)) for name in (headings.ASSIGNMENTS, headings.STEPS))
    if assignments is not None:
        spared = by_name.get(plain(headings.NO_HOST_NEEDED))
        return Copy(path.name, _assignments(table_of(assignments, _RETURNED, findings), spared, findings), others)
    if steps is not None:
        return Copy(path.name, tuple(_by_site(_rows(table_of(steps, _STEPS, findings), _STEPS, findings))))
    if not findings.any_error:
        meaning = "it has a row for each site, and columns for the team"
        findings.add("sheet_missing", Place(path.name), sheet=headings.ASSIGNMENTS, meaning=meaning)
    return None


def _assignments(table: RawTable, spared: RawSheet | None, findings: Findings) -> tuple[Mapping[str, Cell], ...]:
    """Return the rows of the sites that have a host, then those of sites that leave theirs for a vote of their own."""
    sites = {str(row[0]).strip() for row in spared.cells if len(row)} if spared is not None else set()
    leaving = leaving_rows(table, sites)
    rows = _rows(table.only(~leaving), _RETURNED, findings)
    return (*rows, *_rows(table.only(leaving), _LEAVING, findings)) if leaving.any() else rows


def _rows(table: RawTable, sheet: Sheet, findings: Findings) -> tuple[Mapping[str, Cell], ...]:
    read = read_table(table, sheet, findings)
    where = {**read.match.known, **read.match.own}
    columns = {str(name): read.frame[name].tolist() for name in read.frame.columns if name in where}
    rows = []
    for position in range(len(read.frame)):
        places = {name: read.raw.place(position, where[name]).where for name in columns}
        rows.append({name: Cell(_typed(values[position]), places[name]) for name, values in columns.items()})
    return tuple(rows)


def _typed(value: Any) -> Typed:
    if value is None or value is pd.NaT or value != value or not str(value).strip():
        return None
    if isinstance(value, pd.Timestamp):
        return value.to_pydatetime()
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return value.strip() if isinstance(value, str) else value


def _by_site(steps: Sequence[Mapping[str, Cell]]) -> Iterable[Mapping[str, Cell]]:
    """Yield a row for each site that changes host: its last step, and where it stands after those that are done."""
    of_site: dict[str, list[Mapping[str, Cell]]] = {}
    for step in steps:
        if step[headings.SITE].value and step.get(headings.KIND, Cell("", "")).value in _CHANGES:
            of_site.setdefault(str(step[headings.SITE].value), []).append(step)
    for own in of_site.values():
        last = own[-1]
        row = {name: last[name] for name in (headings.SITE, headings.INITIALS, headings.DATE) if name in last}
        target = last.get(headings.TO_HOST, Cell(None, ""))
        row[headings.HOST] = target
        if target.value is None:
            # It leaves for its own third vote: the plan workbook has no row that says where it was.
            row[headings.CURRENT_HOST] = own[0].get(headings.FROM_HOST, Cell(None, ""))
        row[headings.PROGRESS] = _status(own)
        notes = [str(step[headings.REMARKS].value) for step in own if step.get(headings.REMARKS, Cell(None, "")).value]
        row[headings.REMARKS] = Cell(" / ".join(notes) or None, last.get(headings.REMARKS, Cell(None, "")).where)
        done = [step for step in own[:-1] if step[headings.PROGRESS].value == "done"]
        if done:
            row[headings.STANDS_ON] = done[-1][headings.TO_HOST]
        yield row


def _status(steps: Sequence[Mapping[str, Cell]]) -> Cell:
    """Return the status of the last step, but blocked where any is."""
    cells = [step.get(headings.PROGRESS, Cell(None, "")) for step in steps]
    return next((cell for cell in cells if cell.value == "blocked"), cells[-1])


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
