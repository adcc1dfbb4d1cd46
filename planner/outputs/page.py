"""A sheet laid out like a page: rows of label, value and remark, written from the top down."""

from __future__ import annotations

from collections.abc import Sequence

from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs import styles
from planner.outputs.cellsafe import Value, put
from planner.outputs.styles import lines_needed, row_height

_WIDTHS = {"A": 25, "B": 25, "C": 12, "D": 13, "E": 12, "F": 12, "G": 12, "H": 12}
_LAST = "H"
_WHOLE = sum(_WIDTHS.values())
_REMARK = _WHOLE - _WIDTHS["A"] - _WIDTHS["B"]


class Page:
    """Writes below what it wrote before; texts too long for their cell get the lines they need."""

    def __init__(self, sheet: Worksheet) -> None:
        self._sheet = sheet
        self._row = 0
        for column, width in _WIDTHS.items():
            sheet.column_dimensions[column].width = width

    def whole_row(self, text: str, style: str = styles.TEXT, size: float = styles.SIZE) -> None:
        """Write ``text`` across the page; ``size`` is the size of the letters of ``style``."""
        self._row += 1
        self._spread("A", text, style)
        self._set_lines(lines_needed(text, _WHOLE, size), size)

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
        texts = ((label, _WIDTHS["A"]), (str(value), _WIDTHS["B"]), (remark, _REMARK))
        self._set_lines(max(lines_needed(*text) for text in texts))

    def text_row(self, label: str, text: str) -> None:
        """Write a label and a text over the rest of the page."""
        self._row += 1
        self._cell("A", label, styles.LABEL)
        self._spread("B", text, styles.TEXT)
        self._set_lines(lines_needed(text, _WHOLE - _WIDTHS["A"]))

    def table_row(self, values: Sequence[Value], cell_styles: Sequence[str]) -> None:
        """Write one cell of the page's grid for each value."""
        self._row += 1
        cells = list(zip(_WIDTHS, values, cell_styles, strict=False))
        for cell in cells:
            self._cell(*cell)
        texts = [(value, _WIDTHS[column]) for column, value, _ in cells if isinstance(value, str)]
        self._set_lines(max((lines_needed(*text) for text in texts), default=1))

    def _cell(self, column: str, value: Value, style: str, *, left: bool = False) -> None:
        cell = self._sheet[f"{column}{self._row}"]
        cell.style = style
        if left:
            cell.alignment = styles.LEFT
        put(cell, value)

    def _spread(self, first: str, text: str, style: str) -> None:
        """Write ``text`` from column ``first`` to the right edge; every cell below it carries the style's line."""
        for column in _WIDTHS:
            if column >= first:
                self._cell(column, text if column == first else None, style)
        self._sheet.merge_cells(f"{first}{self._row}:{_LAST}{self._row}")

    def _set_lines(self, lines: int, size: float = styles.SIZE) -> None:
        self._sheet.row_dimensions[self._row].height = row_height(lines, size)
