"""The empty fleet workbook: every sheet, column and setting of `planner.columns`, ready to be filled in."""

from __future__ import annotations

import os
from collections.abc import Sequence

from openpyxl.comments import Comment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from planner import columns
from planner.columns import Column, Kind, Sheet
from planner.outputs import cellsafe, styles
from planner.outputs.explanation import explain, write_explanation
from planner.outputs.grid import Book, Field, set_up_print, write_table
from planner.outputs.sheet_text import Styled
from planner.outputs.validation import add_validation

FORMATS: dict[Kind, str] = {
    "whole": styles.FILL_IN_NUMBER,
    "number": styles.FILL_IN_NUMBER,
    "date": styles.FILL_IN_DATE,
    "moment": styles.FILL_IN_MOMENT,
}
_WIDEST_FOR = {"ids": 18, "text": 18, "timezone": 18, "window": 18, "moment": 18, "date": 13}


def write_template(path: str | os.PathLike[str]) -> None:
    """Write an empty fleet workbook to ``path``; an old file is replaced.

    The first sheet explains every column and setting with an example; the others hold headings only, so
    that nothing is planned which nobody has entered. Columns for ids, releases and other text have text
    format: ``0042`` and ``8.10`` stay as they are typed. The sheet Policy lists every setting with its
    default filled in. Raises InputError when the file cannot be written.
    """
    book = Book()
    write_explanation(book)
    for sheet in columns.SHEETS:
        if sheet is columns.POLICY:
            _write_policy(book)
        else:
            write_headings(book, sheet)
    book.save(path, "Fleet of two-node clusters")


def write_headings(book: Book, sheet: Sheet) -> Worksheet:
    """Add a sheet with the headings, notes, formats and drop-downs of its columns, and no row yet; return it."""
    page = book.new_sheet(sheet.name)
    for number, column in enumerate(sheet.columns, start=1):
        letter = get_column_letter(number)
        cell = page[f"{letter}1"]
        # What has to be filled in stands out by colour; its note says so in words.
        cell.style = styles.FILL_IN_HEADING if column.required else styles.HEADING
        cellsafe.put(cell, column.name)
        cell.comment = _note(column)
        dimension = page.column_dimensions[letter]
        dimension.width = max(len(column.name) + 3, _WIDEST_FOR.get(column.kind, 10))
        dimension.number_format = styles.FORMATS[FORMATS.get(column.kind, styles.FILL_IN)]
        add_validation(page, column, f"{letter}2:{letter}{cellsafe.MAX_ROWS}")
    page.row_dimensions[1].height = 18
    page.freeze_panes = "B2"
    set_up_print(page, title_rows="1:1")
    return page


def _write_policy(book: Book) -> None:
    fields = (
        Field("setting", least=24),
        Field("value", styles.FILL_IN, least=16, heading_style=styles.FILL_IN_HEADING),
        Field("default", styles.SETTING, least=14),
        Field("unit", least=16),
        Field("meaning", least=50, most=95),
    )
    rows = [(s.name, _filled_in(s), _default(s), s.unit, s.meaning) for s in columns.SETTINGS]
    page = write_table(book, columns.POLICY.name, fields, rows)
    for number, setting in enumerate(columns.SETTINGS, start=2):
        add_validation(page, setting, f"B{number}")


def _filled_in(setting: Column) -> Styled:
    return Styled(_default(setting), FORMATS.get(setting.kind, styles.FILL_IN))


def _default(setting: Column) -> cellsafe.Value:
    value = setting.default
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _note(column: Column) -> Comment:
    lines: Sequence[str] = explain(column)
    text = "\n".join(lines)
    note = Comment(text, "castingvote", width=330)
    note.height = 22 * sum(1 + len(line) // 52 for line in lines) + 10
    return note
