"""A sheet laid out like a page: rows of label, value and remark, written from the top down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy

from openpyxl.cell.cell import Cell
from openpyxl.utils import quote_sheetname
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs import styles
from planner.outputs.cellsafe import Value, put
from planner.outputs.grid import Book, set_up_print
from planner.outputs.styles import Looks, lines_needed, row_height

_WIDTHS = {"A": 25, "B": 25, "C": 12, "D": 13, "E": 12, "F": 12, "G": 12, "H": 12}


def title_page(book: Book, name: str, title: str, headline: str, widths: Mapping[str, float] = _WIDTHS) -> Page:
    """Add a sheet that opens with a title and a headline, upright and without grid lines; return it to be filled."""
    sheet = book.new_sheet(name)
    sheet.sheet_view.showGridLines = False
    set_up_print(sheet, landscape=False)
    page = Page(sheet, book.looks, widths)
    page.whole_row(title, styles.TITLE, 18)
    page.whole_row(headline, styles.HEADLINE, 13)
    return page


class Page:
    """Writes below what it wrote before; texts too long for their cell get the lines they need.

    ``looks`` are the cell styles of the workbook by name, ``widths`` those of the columns, in characters and from A on,
    at least three.
    """

    def __init__(self, sheet: Worksheet, looks: Looks, widths: Mapping[str, float] = _WIDTHS) -> None:
        self._sheet = sheet
        self._looks = looks
        self._number = {column: number for number, column in enumerate(widths, start=1)}
        self._row = 0
        self._widths = widths
        self._last = max(widths)
        self._whole = sum(widths.values())
        for column, width in widths.items():
            sheet.column_dimensions[column].width = width

    def whole_row(self, text: str, style: str = styles.TEXT, size: float = styles.SIZE) -> None:
        """Write ``text`` across the page; ``size`` is the size of the letters of ``style``."""
        self._row += 1
        self._spread("A", text, style)
        self._set_lines(lines_needed(text, self._whole, size), size)

    def section(self, title: str) -> None:
        """Leave a gap and write the title of a section."""
        self._row += 1
        self._sheet.row_dimensions[self._row].height = 8
        self.whole_row(title, styles.SECTION, 12)

    def row(self, label: str, value: Value, remark: str = "", style: str = styles.TEXT, pale: str = "") -> None:
        """Write a label, its value in cell format ``style`` on an optional fill, and a remark for people."""
        self._row += 1
        self._cell("A", label, styles.LABEL)
        self._cell("B", value, style, left=True)
        if pale:
            self._sheet[f"B{self._row}"].fill = styles.fill(styles.PALE[pale])
        self._spread("C", remark, styles.NOTE)
        first, second = self._widths["A"], self._widths["B"]
        texts = ((label, first), (str(value), second), (remark, self._whole - first - second))
        self._set_lines(max(lines_needed(*text) for text in texts))

    def text_row(self, label: str, text: str) -> None:
        """Write a label and a text over the rest of the page."""
        self._row += 1
        self._cell("A", label, styles.LABEL)
        self._spread("B", text, styles.TEXT)
        self._set_lines(lines_needed(text, self._whole - self._widths["A"]))

    def link(self, column: str, sheet: str) -> None:
        """Let the cell of ``column`` in the last row lead to another sheet."""
        self._sheet[f"{column}{self._row}"].hyperlink = Hyperlink(
            ref=f"{column}{self._row}", location=f"{quote_sheetname(sheet)}!A1"
        )

    def table_row(self, values: Sequence[Value], cell_styles: Sequence[str]) -> None:
        """Write one cell of the page's grid for each value."""
        self._row += 1
        cells = list(zip(self._widths, values, cell_styles, strict=False))
        for cell in cells:
            self._cell(*cell)
        texts = [(value, self._widths[column]) for column, value, _ in cells if isinstance(value, str)]
        self._set_lines(max((lines_needed(*text) for text in texts), default=1))

    def _cell(self, column: str, value: Value, style: str, *, left: bool = False) -> None:
        cell: Cell = self._sheet.cell(self._row, self._number[column])  # type: ignore[assignment]
        cell._style = copy(self._looks[style])  # type: ignore[attr-defined]  # as setting its style by name ends
        if left:
            cell.alignment = styles.LEFT
        put(cell, value)

    def _spread(self, first: str, text: str, style: str) -> None:
        """Write ``text`` from column ``first`` to the right edge; every cell below it carries the style's line."""
        for column in self._widths:
            if column >= first:
                self._cell(column, text if column == first else None, style)
        # merge_cells would also clear the cells and set their borders anew, which takes most of a page's time.
        self._sheet.merged_cells.add(f"{first}{self._row}:{self._last}{self._row}")

    def _set_lines(self, lines: int, size: float = styles.SIZE) -> None:
        self._sheet.row_dimensions[self._row].height = row_height(lines, size)
