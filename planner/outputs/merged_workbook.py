"""All that people put into copies of a workbook, in the first of them: cells, own columns, comments and sheets."""

from __future__ import annotations

import datetime as dt
import math
import os
import re
import warnings
from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.cell.cell import Cell as SheetCell
from openpyxl.utils import column_index_from_string, get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from planner.counted_words import first_few
from planner.errors import InputError
from planner.fleet import Finding
from planner.outputs import headings
from planner.outputs.cellsafe import MAX_SHEET_NAME, Value, put
from planner.outputs.merged_comments import put_comments
from planner.outputs.sheet_copy import cells_of, copied_sheet, copy_cell, copy_looks, sheet_of, single_cell
from planner.progress import Cell, Copy, Merged

_ADDRESS = re.compile(r"([A-Z]+)(\d+)$")
_TABLES = (headings.ASSIGNMENTS, headings.STEPS)
_AT_FIRST = ("open", "not needed")
_COMPUTED = (headings.TEAM_PROGRESS, headings.BURN_DOWN, headings.RECORD)  # nobody types there
_NO_BOOKS = (".ods", ".csv", ".tsv", ".txt")  # openpyxl reads none of these
_MIDNIGHT = " 00:00:00"
_LINE_POINTS, _LETTERS = 13.0, 1.15  # height of a line; letters to a unit of width
_NO_COLOURS = ("FFFFFFFF", "00FFFFFF")
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
    others: list[tuple[Copy, Workbook | None]] = []
    coloured = [*_coloured(book, copies[0])]
    tables = {headings.ASSIGNMENTS: [copy.rows for copy in copies], headings.STEPS: [copy.steps for copy in copies]}
    # A table stands where the first copy that has it says, and merged rows have the addresses of that copy.
    first = {title: next((k for k, rows in enumerate(each) if rows), 0) for title, each in tables.items()}
    for k, (source, one) in enumerate(zip(sources[1:], copies[1:], strict=True), start=1):
        if Path(source).is_dir() or Path(source).suffix.lower() in _NO_BOOKS:
            _take_texts(book, one.others)
            for title in (title for title in _TABLES if first[title] == k):
                _take_rows(book, tables[title][k])
            others.append((one, None))
            continue
        opened = open_workbook(source)
        others.append((one, opened))
        coloured += _coloured(opened, one)
        for sheet in opened.worksheets:
            _take_over(book, sheet, [title for title in _TABLES if first[title] != k])
    at: dict[str, dict[tuple[str, str], str]] = {headings.ASSIGNMENTS: {}, headings.STEPS: {}}
    if any(tables[headings.ASSIGNMENTS]):
        at[headings.ASSIGNMENTS] = _fill_in(book, headings.ASSIGNMENTS, headings.SITE, merged.rows)
    at[headings.STEPS] = _fill_in(book, headings.STEPS, headings.STEP, merged.steps)
    for title in _TABLES:
        _show_all(sheet_of(book, title))
    notes = [*coloured, *(note for one, other in others for note in put_comments(book, one, other, at))]
    told = "\n".join((*notes, *merged.notes, *map(str, merged.clashes)))
    return notes + _missing(book, [(one, other) for one, other in others if other is not None], told)


def _take_over(book: Workbook, sheet: Worksheet, row_by_row: Collection[str]) -> None:
    """Copy a sheet that the book lacks, and fill blank cells of one that it has; some tables are merged row by row."""
    mine = sheet_of(book, sheet.title)
    if sheet.title in (*_COMPUTED, *row_by_row):
        return
    if mine is None:
        copied_sheet(book, sheet)
        return
    for cell in cells_of(sheet):
        if cell.value is not None and single_cell(mine, cell.coordinate).value is None:
            copy_cell(mine, cell)


def _take_texts(book: Workbook, others: Mapping[str, str]) -> None:
    """Put cells of other sheets, by address, where the book has none."""
    for where, text in others.items():
        title, _, address = where.rpartition("!")
        sheet = sheet_of(book, title) or book.create_sheet(title[:MAX_SHEET_NAME])
        target = single_cell(sheet, address)
        if target.value is None:
            put(target, text)


def _take_rows(book: Workbook, rows: Sequence[Row]) -> None:
    """Make the sheet of a table that is in no Excel workbook before: its rows and headings at their addresses."""
    named = _title_of(rows)
    sheet = sheet_of(book, named) or book.create_sheet(named)
    heads: dict[str, str] = {}
    lines = []
    for row in rows:
        for name, cell in row.items():
            place = _ADDRESS.search(cell.where)
            if place is not None:
                put(single_cell(sheet, place[0]), cell.value)
                heads[place[1]] = name
                lines.append(int(place[2]))
    for letter, name in heads.items():
        head = sheet[f"{letter}{max(1, min(lines) - 1)}"]
        if head.value is None:
            put(head, name)


def _title_of(rows: Sequence[Row]) -> str:
    """Return the title of the sheet that rows stand on; "" where they stand on none."""
    titles = (cell.where.rpartition("!")[0] for row in rows for cell in row.values() if cell.where)
    return next(titles, "").strip("'").replace("''", "'")[:MAX_SHEET_NAME]


def _fill_in(book: Workbook, title: str, key: str, rows: Sequence[Row]) -> dict[tuple[str, str], str]:
    """Put merged rows into their sheet, and return the address of each cell by id and heading.

    Rows that the sheet does not have go below its table, and columns that it does not have beside it.
    """
    named = _title_of(rows)
    sheet = sheet_of(book, named)
    if sheet is None or not rows:
        return {}
    if sheet_of(book, title) is None:
        sheet.title = title  # the next reader finds it by its name
    columns: dict[str, str] = {}
    for row in rows:
        for name, cell in row.items():
            place = _ADDRESS.search(cell.where)
            if place and _title_of([{name: cell}]).casefold() == named.casefold():
                columns.setdefault(name, place[1])
    _add_columns(sheet, columns, rows)
    at: dict[tuple[str, str], str] = {}
    below = _below(sheet, rows, key)
    for row in rows:
        place = _ADDRESS.search(row[key].where)
        line = int(place[2]) if place else next(below)
        for name, cell in row.items():
            if name not in columns:
                continue
            target = sheet[f"{columns[name]}{line}"]
            at[str(row[key].value), name] = target.coordinate
            if _differs(target.value, cell.value):
                put(single_cell(sheet, target.coordinate), cell.value)
        if place is None:
            for table in sheet.tables.values():
                table.ref = f"{table.ref.split(':')[0]}:{_ADDRESS.search(table.ref)[1]}{line}"  # type: ignore[index]
    return at


def _below(sheet: Worksheet, rows: Sequence[Row], key: str) -> Iterator[int]:
    """Yield the numbers of empty rows below the rows that the sheet has."""
    used = {cell.row for cell in cells_of(sheet) if cell.value is not None}
    last = max((int(place[2]) for row in rows if (place := _ADDRESS.search(row[key].where))), default=1)
    while True:
        last += 1
        if last not in used:
            yield last


def _show_all(sheet: Worksheet | None) -> None:
    """Print own columns too, and give rows of long remarks the height that they take."""
    if sheet is None:
        return
    if sheet.print_area:
        first = sheet.print_area.rpartition("!")[2].split(":")[0].replace("$", "")
        sheet.print_area = f"{first}:{get_column_letter(sheet.max_column)}{sheet.max_row}"
    lines: dict[int, int] = {}
    for cell in cells_of(sheet):
        row = cell.row or 0
        lines[row] = max(lines.get(row, 1), _lines(sheet, cell))
    for number, most in lines.items():
        if number > 1 and most > 1:
            sheet.row_dimensions[number].height = _LINE_POINTS * most


def _lines(sheet: Worksheet, cell: Any) -> int:
    """Return how many lines a cell that wraps its text takes."""
    if not isinstance(cell.value, str) or not cell.alignment.wrap_text:
        return 1
    width = max(4.0, sheet.column_dimensions[cell.column_letter].width * _LETTERS)
    return sum(math.ceil(max(1, len(line)) / width) for line in cell.value.split("\n"))


def _add_columns(sheet: Worksheet, columns: dict[str, str], rows: Sequence[Row]) -> None:
    """Give every column that only other copies have a heading beside the table."""
    held = {name for row in rows for name, cell in row.items() if cell.value is not None}
    heads = min((int(m[2]) for t in sheet.tables.values() if (m := _ADDRESS.search(t.ref.split(":")[0]))), default=1)
    for name in sorted(held - set(columns) - set(_NOT_SHOWN)):
        letter = get_column_letter(sheet.max_column + 1)
        put(sheet[f"{letter}{heads}"], name)
        _look_alike(sheet, letter, heads)
        columns[name] = letter


def _look_alike(sheet: Worksheet, letter: str, heads: int) -> None:
    """Give a new column the looks of the one on its left."""
    at = column_index_from_string(letter)
    sheet.column_dimensions[letter].width = sheet.column_dimensions[get_column_letter(at - 1)].width
    for line in sorted({cell.row or 0 for cell in cells_of(sheet)}):
        if line < heads:
            continue
        left, mine = sheet.cell(line, max(1, at - 1)), sheet.cell(line, at)
        if isinstance(left, SheetCell) and isinstance(mine, SheetCell):
            copy_looks(mine, left)


def _differs(now: Any, wanted: Value) -> bool:
    return _text(now) != _text(wanted)


def _text(value: Any) -> str:
    """Return the text of a value; that of a day is the same with and without its midnight."""
    return "" if value is None else str(value).strip().removesuffix(_MIDNIGHT)


def _coloured(book: Workbook, one: Copy) -> Iterator[str]:
    """Yield a note where people coloured rows that are still open: a colour says nothing to us."""
    for rows, key in ((one.rows, headings.SITE), (one.steps, headings.STEP)):
        found = []
        for row in rows:
            title, _, address = row[key].where.rpartition("!")
            sheet = sheet_of(book, title.strip("'"))
            status = row.get(headings.PROGRESS)
            if sheet is None or status is None or status.value not in (None, *_AT_FIRST[:1]):
                continue
            fill = sheet[address].fill
            if fill.fill_type == "solid" and fill.fgColor.rgb not in _NO_COLOURS:
                found.append(f"{one.file} {row[key].where}")
        if found:
            words = "the row has a colour, which is not read, and its status is open. Write the status as a word"
            yield f"{first_few(found)}: {words}."


def _is_read(cell: Cell | None) -> bool:
    """Return whether a text was read as a date: then the merged workbook has the date."""
    return cell is not None and isinstance(cell.value, dt.date)


def _has_time(value: Any) -> bool:
    """Return whether a cell has a time of day, which the merged workbook has not."""
    return isinstance(value, dt.datetime) and value.time() != dt.time()


def _heads(sheet: Worksheet | None) -> list[str]:
    return [] if sheet is None else [_text(cell.value) for cell in sheet[1] if cell.value is not None]


def _missing(book: Workbook, others: Sequence[tuple[Copy, Workbook]], told: str) -> list[str]:
    """Return each cell of the copies whose text stands nowhere in the book, nor in what is ``told`` anyway.

    A status that the plan itself put there is no loss where somebody has changed it.
    """
    there = {_text(cell.value) for sheet in book.worksheets for cell in cells_of(sheet)}
    known = {text.casefold() for title in _TABLES for text in _heads(sheet_of(book, title))}
    whole = "\n".join((told, *(text for text in there if "[" in text or " / " in text)))
    notes = []
    for one, other in others:
        read = {row[headings.DATE].where for row in (*one.rows, *one.steps) if _is_read(row.get(headings.DATE))}
        for sheet in other.worksheets:
            if sheet.title in _COMPUTED:
                continue
            for cell in (cell for cell in cells_of(sheet) if cell.value is not None):
                text = _text(cell.value)
                if f"{sheet.title}!{cell.coordinate}" in read and not _has_time(cell.value):
                    continue
                if sheet.title in _TABLES and (text in _AT_FIRST or text.casefold() in known):
                    continue
                if text and text not in there and cell.data_type != "f" and text not in whole:
                    notes.append(f'{one.file} {sheet.title}!{cell.coordinate}: "{text}" is not in the merged workbook.')
    return notes
