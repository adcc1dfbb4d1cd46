"""All that people put into copies of a workbook, in the first of them: cells, own columns, comments and sheets."""

from __future__ import annotations

import copy as copies_of
import os
import re
import warnings
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.comments import Comment
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from planner.errors import InputError
from planner.fleet import Finding
from planner.outputs import headings
from planner.outputs.cellsafe import MAX_SHEET_NAME, Value, put
from planner.progress import Cell, Copy, Merged

_ADDRESS = re.compile(r"([A-Z]+)(\d+)$")
_TABLES = (headings.ASSIGNMENTS, headings.STEPS)
_COMPUTED = (headings.TEAM_PROGRESS, headings.BURN_DOWN, headings.RECORD)  # nobody types there
_NOT_SHOWN = (headings.STANDS_ON,)  # worked out from the steps

Path_ = str | os.PathLike[str]
Row = Mapping[str, Cell]


def open_workbook(source: Path_) -> Workbook:
    """Return a workbook to be carried on; InputError where it is none."""
    try:
        with open(source, "rb") as file, warnings.catch_warnings():  # openpyxl would leave a damaged file open
            warnings.simplefilter("ignore", UserWarning)  # what other programs add and openpyxl leaves out
            return openpyxl.load_workbook(file)
    except Exception as error:
        message = "cannot be continued as an Excel workbook."
        raise InputError(
            (Finding("error", "not_xlsx", "", message, "Save it as .xlsx first.", Path(source).name),)
        ) from error


def merge_into(book: Workbook, sources: Sequence[Path_], copies: Sequence[Copy], merged: Merged) -> list[str]:
    """Put all that ``copies`` hold into ``book``, which is the first of them, and return what found no place there.

    Rows are those of ``merged``. Sheets that the book lacks are copied into it; in those that it has, blank cells are
    filled. Comments stand at the cell of the same site or step, or at the same address.
    """
    others = []
    for source, one in zip(sources[1:], copies[1:], strict=True):
        if Path(source).suffix.lower() == ".ods":  # openpyxl reads none; comments in it are not seen
            _take_texts(book, one.others)
            continue
        others.append((one, open_workbook(source)))
        for sheet in others[-1][1].worksheets:
            _take_over(book, sheet)
    at = {headings.ASSIGNMENTS: _fill_in(book, headings.ASSIGNMENTS, headings.SITE, merged.rows)}
    at[headings.STEPS] = _fill_in(book, headings.STEPS, headings.STEP, merged.steps)
    notes = [note for one, other in others for note in _comments(book, other, one, at)]
    told = "\n".join((*notes, *merged.notes, *map(str, merged.clashes)))
    return notes + _missing(book, others, told)


def _sheet_of(book: Workbook, title: str) -> Worksheet | None:
    return next((s for s in book.worksheets if s.title.strip().casefold() == title.strip().casefold()), None)


def _take_over(book: Workbook, sheet: Worksheet) -> None:
    """Copy a sheet that the book lacks, and fill blank cells of one that it has; tables are merged row by row."""
    mine = _sheet_of(book, sheet.title)
    if sheet.title in (*_COMPUTED, *(_TABLES if mine is not None else ())):
        return
    if mine is None:
        mine = book.create_sheet(sheet.title[:MAX_SHEET_NAME])
        mine.sheet_state = sheet.sheet_state
        mine.freeze_panes = sheet.freeze_panes
        for letter, dimension in sheet.column_dimensions.items():
            mine.column_dimensions[letter].width = dimension.width
        for area in sheet.merged_cells.ranges:
            mine.merge_cells(area.coord)
    for row in sheet.iter_rows():
        for cell in row:
            if cell.value is None:
                continue
            target = mine[cell.coordinate]
            if target.value is None and hasattr(cell, "font") and type(target).__name__ == "Cell":
                target.value = cell.value
                target.data_type = cell.data_type
                target.number_format = cell.number_format
                target.font, target.fill = copies_of.copy(cell.font), copies_of.copy(cell.fill)
                target.border, target.alignment = copies_of.copy(cell.border), copies_of.copy(cell.alignment)


def _take_texts(book: Workbook, others: Mapping[str, str]) -> None:
    """Put cells of other sheets, by address, where the book has none."""
    for where, text in others.items():
        title, _, address = where.rpartition("!")
        sheet = _sheet_of(book, title) or book.create_sheet(title[:MAX_SHEET_NAME])
        if sheet[address].value is None and type(sheet[address]).__name__ == "Cell":
            put(sheet[address], text)


def _fill_in(book: Workbook, title: str, key: str, rows: Sequence[Row]) -> dict[tuple[str, str], str]:
    """Put merged rows into their sheet, and return the address of each cell by id and heading.

    Rows that the sheet does not have go below its table, and columns that it does not have beside it.
    """
    sheet = _sheet_of(book, title)
    if sheet is None or not rows:
        return {}
    columns: dict[str, str] = {}
    for row in rows:
        for name, cell in row.items():
            place = _ADDRESS.search(cell.where)
            if place and cell.where.rpartition("!")[0].strip("'").casefold() == title.casefold():
                columns.setdefault(name, place[1])
    _add_columns(sheet, columns, rows)
    at: dict[tuple[str, str], str] = {}
    for row in rows:
        place = _ADDRESS.search(row[key].where)
        line = int(place[2]) if place else sheet.max_row + 1
        for name, cell in row.items():
            if name not in columns:
                continue
            target = sheet[f"{columns[name]}{line}"]
            at[str(row[key].value), name] = target.coordinate
            if _differs(target.value, cell.value):
                put(target, cell.value)
        if place is None:
            for table in sheet.tables.values():
                table.ref = f"{table.ref.split(':')[0]}:{_ADDRESS.search(table.ref)[1]}{line}"  # type: ignore[index]
    return at


def _add_columns(sheet: Worksheet, columns: dict[str, str], rows: Sequence[Row]) -> None:
    """Give every column that only other copies have a heading beside the table."""
    held = {name for row in rows for name, cell in row.items() if cell.value is not None}
    heads = min((int(m[2]) for t in sheet.tables.values() if (m := _ADDRESS.search(t.ref.split(":")[0]))), default=1)
    for name in sorted(held - set(columns) - set(_NOT_SHOWN)):
        letter = get_column_letter(sheet.max_column + 1)
        put(sheet[f"{letter}{heads}"], name)
        sheet[f"{letter}{heads}"].font = Font(bold=True)
        columns[name] = letter


def _differs(now: Any, wanted: Value) -> bool:
    return str(now if now is not None else "").strip() != str(wanted if wanted is not None else "")


def _comments(
    book: Workbook, other: Workbook, one: Copy, at: Mapping[str, Mapping[tuple[str, str], str]]
) -> Iterator[str]:
    """Add the comments of a copy where the book has none that says so; yield those that have no cell to stand at."""
    where = {cell.where: (headings.ASSIGNMENTS, str(row[headings.SITE].value), name)
             for row in one.rows for name, cell in row.items()}  # fmt: skip
    where |= {cell.where: (headings.STEPS, str(row[headings.STEP].value), name)
              for row in one.steps for name, cell in row.items()}  # fmt: skip
    for sheet in other.worksheets:
        mine = _sheet_of(book, sheet.title)
        for cell, comment in ((cell, cell.comment) for row in sheet.iter_rows() for cell in row):
            if comment is None:
                continue
            text = comment.text
            title, key, name = where.get(f"{sheet.title}!{cell.coordinate}", ("", "", ""))
            address = at[title].get((key, name)) if title else cell.coordinate if cell.row == 1 else None
            if not title and sheet.title not in _TABLES:
                address = cell.coordinate
            if mine is None or address is None or type(mine[address]).__name__ != "Cell":
                yield f'{one.file} {sheet.title}!{cell.coordinate}: comment "{text}".'
                continue
            there = mine[address].comment
            said = "" if there is None else there.text
            if text not in said:
                mine[address].comment = Comment("\n".join(filter(None, (said, text))), comment.author)


def _missing(book: Workbook, others: Sequence[tuple[Copy, Workbook]], told: str) -> list[str]:
    """Return each cell of the copies whose text stands nowhere in the book, nor in what is ``told`` anyway."""
    rows = (row for sheet in book.worksheets for row in sheet.iter_rows(values_only=True))
    there = {str(value).strip() for row in rows for value in row}
    whole = "\n".join((told, *(text for text in there if "[" in text or " / " in text)))
    notes = []
    for one, other in others:
        for sheet in other.worksheets:
            if sheet.title in _COMPUTED:
                continue
            for cell in (cell for row in sheet.iter_rows() for cell in row if cell.value is not None):
                text = str(cell.value).strip()
                if text and text not in there and cell.data_type != "f" and text not in whole:
                    notes.append(f'{one.file} {sheet.title}!{cell.coordinate}: "{text}" is not in the merged workbook.')
    return notes
