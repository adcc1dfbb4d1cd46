"""Comments of the copies, at the cells of the same sites and steps in the merged workbook."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from openpyxl.comments import Comment
from openpyxl.workbook import Workbook

from planner.outputs import headings
from planner.outputs.sheet_copy import cells_of, sheet_of
from planner.progress import Copy

_TABLES = (headings.ASSIGNMENTS, headings.STEPS)


def put_comments(
    book: Workbook, one: Copy, opened: Workbook | None, at: Mapping[str, Mapping[tuple[str, str], str]]
) -> Iterator[str]:
    """Add the comments of a copy where the book has none that says so; yield those that have no cell to stand at.

    ``opened`` is the copy where it is an Excel workbook, and ``at`` the cells of rows by sheet, then id and heading.
    """
    where = {cell.where.replace("'", ""): (headings.ASSIGNMENTS, str(row[headings.SITE].value), name)
             for row in one.rows for name, cell in row.items()}  # fmt: skip
    where |= {cell.where.replace("'", ""): (headings.STEPS, str(row[headings.STEP].value), name)
              for row in one.steps for name, cell in row.items()}  # fmt: skip
    for sheet, cell, text, author in _said(one, opened):
        title, key, name = where.get(f"{sheet}!{cell}".replace("'", ""), ("", "", ""))
        mine = sheet_of(book, title or sheet)
        at_heading = sheet not in _TABLES or re.fullmatch(r"[A-Z]+1", cell) is not None
        address = at[title].get((key, name)) if title else cell if at_heading else None
        if mine is None or address is None or type(mine[address]).__name__ != "Cell":
            yield f'{one.file} {sheet}!{cell}: comment "{text}".'
            continue
        there = mine[address].comment
        said = "" if there is None else there.text
        if f"\n{text}\n" not in f"\n{said}\n":
            mine[address].comment = Comment("\n".join(filter(None, (said, text))), author)


def _said(one: Copy, other: Workbook | None) -> Iterator[tuple[str, str, str, str]]:
    """Yield the comments of a copy: sheet, cell, text and author."""
    if other is None:
        yield from ((*comment, "") for comment in one.comments)
        return
    for sheet in other.worksheets:
        for cell in cells_of(sheet):
            if cell.comment is not None:
                yield sheet.title, cell.coordinate, cell.comment.text, cell.comment.author or ""
