"""Sheet Approval: who approves the plan, when, and the hash of the plan that they approve; written and read back."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Mapping
from pathlib import Path
from zipfile import is_zipfile

from openpyxl.worksheet.datavalidation import DataValidation

from planner.approvals import DECISIONS, ROLES, Approval, approvers
from planner.counted_words import first_few
from planner.errors import InputError
from planner.identity import identity_in_words, plan_hash
from planner.intake.files import read_sheets
from planner.intake.findings import Findings
from planner.intake.names import plain
from planner.intake.rawtable import Broken, RawSheet
from planner.outputs import headings, styles
from planner.outputs.grid import Book, Field, write_table
from planner.plan import Plan

ROLE, NAME, DATE, DECISION, HASH = "role", "name", "date", "decision", "hash of the plan"
_WRITTEN = (NAME, DATE, DECISION)  # a refusal counts although its name is missing
_FILL, _HEAD = styles.FILL_IN, styles.FILL_IN_HEADING
_FIELDS = (
    Field(ROLE, least=16),
    Field(NAME, _FILL, least=24, heading_style=_HEAD),
    Field(DATE, styles.FILL_IN_DATE, least=12, heading_style=_HEAD),
    Field(DECISION, _FILL, least=14, heading_style=_HEAD),
    Field(headings.REMARKS, _FILL, least=28, heading_style=_HEAD),
    Field(HASH, least=30, most=70),
    Field("plan", least=30, most=70),
)


def write_approval(book: Book, plan: Plan) -> None:
    """Add the sheet: a row for each who signs, with the hash of this plan; people fill in name, date and decision."""
    known = plan_hash(plan), identity_in_words(plan)
    rows = [(role, None, None, None, None, *known) for role in ROLES]
    sheet = write_table(book, headings.APPROVAL, _FIELDS, rows)
    offered = DataValidation("list", formula1=f'"{",".join(DECISIONS)}"', allow_blank=True, showErrorMessage=True)
    offered.error = f"Use one of: {', '.join(DECISIONS)}."
    offered.add(f"D2:D{len(rows) + 1}")
    sheet.add_data_validation(offered)


def read_approvals(path: str | os.PathLike[str]) -> tuple[Approval, ...]:
    """Return the rows of the sheet Approval in which somebody wrote; none where there is no such sheet.

    Raises InputError where the workbook cannot be read, or the sheet lacks its columns.
    """
    findings = Findings()
    wanted = plain(headings.APPROVAL)
    found = read_sheets(Path(path), lambda title: plain(title) == wanted, findings).sheets
    errors = tuple(finding for finding in findings.result() if finding.severity == "error")
    if errors:
        raise InputError(errors)
    return tuple(approval for sheet in found if sheet.cells for approval in _rows(sheet, Path(path).name))


def approvers_in(path: Path, plan: Plan) -> str:
    """Return the names of those who approved ``plan`` by the sheet of a workbook; "" where ``path`` is none.

    Raises InputError as `read_approvals` does.
    """
    return approvers(plan, read_approvals(path)) if is_zipfile(path) else ""


def _rows(sheet: RawSheet, file: str) -> list[Approval]:
    heads = [_text(value).casefold() for value in sheet.cells[0]]
    missing = [name for name in (NAME, DATE, DECISION, HASH) if name not in heads]
    if missing:
        from planner.fleet import Finding

        message = f"The sheet lacks the column {missing[0]}."
        hint = "Put its heading back into row 1, or write the plan again."
        raise InputError((Finding("error", "column_missing", sheet.title, message, hint, file),))
    _refuse_formulas(sheet, file)
    rows = [dict(zip(heads, map(_text, row), strict=False)) for row in sheet.cells[1:]]
    return [
        _approval(row, f"{sheet.title}!B{at}") for at, row in enumerate(rows, start=2) if any(map(row.get, _WRITTEN))
    ]


def _refuse_formulas(sheet: RawSheet, file: str) -> None:
    """Raise InputError where a cell has no value that could be read: nobody knows what it would say."""
    from planner.fleet import Finding

    cells = [
        sheet.place(row, column).cell
        for row, values in enumerate(sheet.cells, start=1)
        for column, value in enumerate(values, start=1)
        if isinstance(value, Broken)
    ]
    if cells:
        message = f"These cells have an error, or a formula whose result was never saved: {first_few(cells)}."
        hint = "Type the text or the day itself, then save the workbook."
        raise InputError((Finding("error", "formula_unsaved", sheet.title, message, hint, file),))


def _approval(row: Mapping[str, str], where: str) -> Approval:
    return Approval(
        name=row.get(NAME, ""),
        role=row.get(ROLE, ""),
        date=row.get(DATE, ""),
        decision=row.get(DECISION, ""),
        plan_hash=row.get(HASH, ""),
        remarks=row.get(headings.REMARKS, ""),
        where=where,
    )


def _text(value: object) -> str:
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ", "minutes")
    return "" if value is None or value != value else str(value).strip()
