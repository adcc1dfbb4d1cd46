"""One table on one sheet: headings in row 1, values below, filters, frozen headings, widths and print set-up."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from openpyxl.cell.cell import Cell
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.filters import AutoFilter
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.table import Table, TableColumn, TableStyleInfo
from openpyxl.worksheet.worksheet import Worksheet

from planner.errors import InputError
from planner.fleet import Finding
from planner.outputs import cellsafe, styles
from planner.outputs.atomic import write_bytes
from planner.outputs.book_bytes import book_bytes
from planner.outputs.cellsafe import Value
from planner.outputs.sheet_text import Body, Content, SheetText, with_bodies


@dataclass(frozen=True, slots=True)
class Field:
    """One column of a table: its heading, the style of its cells, and the bounds of its width in characters."""

    heading: str
    style: str = styles.TEXT
    least: float = 8
    most: float = 40
    heading_style: str = ""  # blank: the style for text or for numbers, whichever the column holds


class Book:
    """A workbook that knows the cell styles of `planner.outputs.styles`: a new one without sheets, or a given one."""

    def __init__(self, workbook: Workbook | None = None) -> None:
        self.workbook = workbook or Workbook()
        if workbook is None:
            self.workbook.remove(self.workbook.worksheets[0])
        self.looks = styles.add_styles(self.workbook)
        self._bodies: dict[Worksheet, tuple[Body, SheetText]] = {}

    def new_sheet(self, name: str) -> Worksheet:
        """Add an empty sheet; a name that spreadsheet programs refuse is mended."""
        sheet: Worksheet = self.workbook.create_sheet(cellsafe.sheet_name(name, self.workbook.sheetnames))
        return sheet

    def append(self, sheet: Worksheet, rows: Iterable[Sequence[Content]], looks: Sequence[str]) -> Body:
        """Write ``rows`` below what ``sheet`` holds; ``looks`` are the styles of its columns by name.

        Nothing can be put below them by openpyxl then. Raises InputError when there are more than a sheet holds.
        """
        if sheet not in self._bodies:
            first = 1 if next(sheet.values, None) is None else sheet.max_row + 1
            self._bodies[sheet] = Body(first, max(sheet.max_column, len(looks))), SheetText(sheet, self.looks)
        body, text = self._bodies[sheet]
        columns = text.columns(looks)
        for number, row in enumerate(rows, start=body.last + 1):
            if number > cellsafe.MAX_ROWS:
                raise _too_large(sheet.title, f"more than {cellsafe.MAX_ROWS - 1:,} rows", f"{cellsafe.MAX_ROWS:,}")
            body.rows.append(text.cells(number, row, columns))
        return body

    def to_bytes(self) -> bytes:
        """Return the workbook as an .xlsx file; raises InputError when the disk for temporary files takes no more."""
        without = book_bytes(self.workbook)  # which settles where each sheet is
        return with_bodies(without, {sheet.path.lstrip("/"): body for sheet, (body, _) in self._bodies.items()})

    def save(self, path: str | os.PathLike[str], title: str | None = None, version: str = "") -> None:
        """Write the workbook, whole or not at all; raises InputError when it cannot be written.

        A workbook with a ``title`` also names castingvote as its creator.
        """
        if title is not None:
            self.workbook.properties.title = title
            self.workbook.properties.creator = f"castingvote {version}".strip()
        write_bytes(path, self.to_bytes())


def write_table(book: Book, name: str, fields: Sequence[Field], rows: Iterable[Sequence[Content]]) -> Worksheet:
    """Add a sheet that holds one table and return it.

    ``rows`` has one value for each field. Raises InputError when there are more rows or columns than a sheet holds.
    """
    if len(fields) > cellsafe.MAX_COLUMNS:
        raise _too_large(name, f"{len(fields):,} columns", f"{cellsafe.MAX_COLUMNS:,}")
    sheet = book.new_sheet(name)
    _write_row(sheet, book, ((field.heading, _heading_style(field)) for field in fields))
    fit = _Fit(fields)
    body = book.append(sheet, fit.watching(rows), [field.style for field in fields])
    fit.set_sizes(sheet, body)
    # A table needs one row below its headings, be it blank.
    _add_filters(sheet, f"A1:{get_column_letter(len(fields))}{max(body.last, 2)}", book.workbook)
    sheet.freeze_panes = "B2"
    set_up_print(sheet, title_rows="1:1")
    return sheet


def set_up_print(sheet: Worksheet, *, landscape: bool = True, title_rows: str | None = None) -> None:
    """Print on A4, as wide as the page, with the heading rows on each page and page numbers below."""
    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.print_title_rows = title_rows
    for side, margin in (("left", 0.4), ("right", 0.4), ("top", 0.5), ("bottom", 0.6), ("footer", 0.3)):
        setattr(sheet.page_margins, side, margin)
    footer = sheet.oddFooter
    if footer is not None:
        footer.left.text, footer.right.text = "&A", "page &P of &N"
        footer.left.size = footer.right.size = 8


class _Fit:
    """Learns while rows are written how wide the columns and how tall the rows have to be."""

    def __init__(self, fields: Sequence[Field]) -> None:
        self._fields = fields
        self._longest = [0] * len(fields)
        self._room = [_characters(field.most) for field in fields]
        self._tall: list[tuple[int, int, str]] = []
        self._short: list[set[str]] = [set() for _ in fields]  # texts that were seen and fit on a line

    def watching(self, rows: Iterable[Sequence[Content]]) -> Iterator[Sequence[Content]]:
        """Yield the rows, which go below the headings, as they are."""
        for number, row in enumerate(rows, start=2):
            for index, value in enumerate(row):
                if isinstance(value, str) and value not in self._short[index]:
                    self._see(number, index, value)
            yield row

    def _see(self, row: int, index: int, text: str) -> None:
        length = len(text)
        if length > self._room[index] or "\n" in text:
            self._tall.append((row, index, text))
            length = max(map(len, text.split("\n")))
        else:
            self._short[index].add(text)
        if length > self._longest[index]:
            self._longest[index] = length

    def set_sizes(self, sheet: Worksheet, body: Body) -> None:
        widths = []
        for field, longest in zip(self._fields, self._longest, strict=True):
            # Room for the filter button; a heading of several words may take two lines, and no more.
            least = _in_two_lines(field.heading) + 4
            widths.append(max(field.least, least, min(_width(longest), field.most)))
        for number, width in enumerate(widths, start=1):
            sheet.column_dimensions[get_column_letter(number)].width = width
        two_lines = any(len(f.heading) + 4 > width for f, width in zip(self._fields, widths, strict=True))
        sheet.row_dimensions[1].height = 30 if two_lines else 18
        lines: dict[int, int] = {}
        for row, index, text in self._tall:
            lines[row] = max(lines.get(row, 1), styles.lines_needed(text, widths[index]))
        for row, number in lines.items():
            body.heights[row] = styles.row_height(number)


def _characters(width: float) -> int:
    """Return how long a text may be for a column of ``width``.

    >>> [_width(_characters(width)) <= width < _width(_characters(width) + 1) for width in (8, 14, 20, 75)]
    [True, True, True, True]
    """
    length = int(width)
    while _width(length) > width:
        length -= 1
    while _width(length + 1) <= width:
        length += 1
    return length


def _in_two_lines(heading: str) -> int:
    """Return the characters that a heading takes in width where it may be broken once.

    >>> _in_two_lines("hosts"), _in_two_lines("sites without standby")
    (5, 13)
    """
    words = heading.split()
    halves = ((" ".join(words[:at]), " ".join(words[at:])) for at in range(1, len(words) + 1))
    return min(max(map(len, pair)) for pair in halves)


def _width(characters: int) -> float:
    """Return the column width for a text: short ones may be all capitals, long ones are narrower than digits."""
    return 2 + min(characters, 12 + 0.88 * (characters - 12))


def _write_row(sheet: Worksheet, book: Book, cells: Iterable[tuple[Value, str]]) -> None:
    """Append a row of values, each with the name of its style."""
    row = []
    for value, style in cells:
        # Handing over the style's numbers takes half the time of setting the style by name.
        cell = Cell(sheet, 1, 1, style_array=book.looks[style])
        cellsafe.put(cell, value)
        row.append(cell)
    sheet.append(row)


def _heading_style(field: Field) -> str:
    return field.heading_style or styles.heading_of(field.style)


def _add_filters(sheet: Worksheet, area: str, workbook: Workbook) -> None:
    taken = [table for other in workbook.worksheets for table in other.tables]
    table = Table(displayName=cellsafe.table_name(sheet.title, taken), ref=area, autoFilter=AutoFilter(ref=area))
    # openpyxl would look the names up in the sheet, and make a cell of every place of the table for it.
    table.tableColumns = [TableColumn(id=at, name=str(cell.value)) for at, cell in enumerate(sheet[1], start=1)]
    table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=True)
    sheet.add_table(table)


def _too_large(sheet: str, what: str, limit: str) -> InputError:
    message = f"{what} do not fit on one sheet, which holds {limit}."
    return InputError((Finding("error", "sheet_full", sheet, message, "Write the plan as JSON instead."),))
