"""Rows of a table as the text of a sheet (ECMA-376, part 1, 18.3), as openpyxl would write them, many times faster.

openpyxl makes an object of every cell and an element of every object; a plan has tens of thousands of cells of a few
kinds. It still writes all else: headings, pages, widths, validations, formats, charts.
"""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from io import BytesIO
from typing import NamedTuple

from openpyxl.cell.cell import Cell
from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import to_excel
from openpyxl.worksheet.worksheet import Worksheet

from planner.outputs import cellsafe
from planner.outputs.styles import ANY, TEXT, Looks

_DIMENSION = re.compile(r'<dimension ref="[^"]*"')
_END = re.compile(r"<sheetData ?/>|</sheetData>")
_CELLS_AT_ONCE = 2_000  # rows that are handed to the archive together


class Formula(NamedTuple):
    """A formula with the text that it gives, which readers that do not calculate show."""

    formula: str
    result: str


class Styled(NamedTuple):
    """A value with a style of its own instead of its column's."""

    value: cellsafe.Value
    style: str


Content = cellsafe.Value | Formula | Styled
Column = tuple[str, str, dict[str | None, str]]  # letter, style, and what is written for texts that it has met


@dataclass
class Body:
    """Rows below those that openpyxl holds for a sheet: the number of the first, their cells, heights in points."""

    first: int
    columns: int = 0
    rows: list[str] = field(default_factory=list)
    heights: dict[int, float] = field(default_factory=dict)

    @property
    def last(self) -> int:
        """The number of the last row."""
        return self.first + len(self.rows) - 1

    @property
    def size(self) -> int:
        """At least how many bytes the rows take."""
        return sum(map(len, self.rows))

    def texts(self) -> Iterator[str]:
        """Yield the rows as they stand in the file."""
        for number, cells in enumerate(self.rows, start=self.first):
            height = f' ht="{self.heights[number]:.16g}" customHeight="1"' if number in self.heights else ""
            yield f'<row r="{number}"{height}>{cells}</row>' if cells else f'<row r="{number}"{height} />'


class SheetText:
    """Writes cells as text; ``looks`` are the cell styles of the workbook by name."""

    def __init__(self, sheet: Worksheet, looks: Looks) -> None:
        self._sheet = sheet
        self._looks = looks
        self._numbers: dict[tuple[str, bool | type], int] = {}
        self._texts: defaultdict[str, dict[str | None, str]] = defaultdict(dict)

    def columns(self, styles: Sequence[str]) -> list[Column]:
        """Return what `cells` has to know of the columns whose cells bear ``styles``."""
        letters = map(get_column_letter, range(1, len(styles) + 1))
        return [(letter, style, self._texts[style]) for letter, style in zip(letters, styles, strict=True)]

    def cells(self, row: int, values: Sequence[Content], columns: Sequence[Column]) -> str:
        """Return the cells of row number ``row``, one for each value; texts come back often, and are made once."""
        cells = []
        for value, (letter, style, texts) in zip(values, columns, strict=False):
            inside = texts.get(value) if value is None or type(value) is str else None
            if inside is None:
                inside = self._inside(value, style)
            cells.append(f'<c r="{letter}{row}"{inside}')
        return "".join(cells)

    def _inside(self, value: Content, style: str) -> str:
        """Return what follows the place of a cell."""
        if isinstance(value, str) or value is None:
            text = self._of_text(value, style) if value else self._blank(style)
            self._texts[style][value] = text
            return text
        if isinstance(value, float):
            number = cellsafe.number(value)
            return self._blank(style) if number is None else self._of_number(f"{number:.16g}", style)
        if isinstance(value, bool):
            return self._of_number(f"{value:d}", style, kind="b")
        if isinstance(value, int):
            return self._of_number(f"{value:.16g}", style)
        if isinstance(value, Styled):
            return self._inside(value.value, value.style)
        if isinstance(value, Formula):
            told = f"<f>{escape(value.formula[1:], quote=False)}</f><v>{escape(value.result, quote=False)}</v>"
            return f' s="{self._style(style)}" t="str">{told}</c>'
        day: float = to_excel(value)  # type: ignore[no-untyped-call]
        return f' s="{self._style_of_time(style, value)}" t="n"><v>{day:.16g}</v></c>'

    def _blank(self, style: str) -> str:
        return f' s="{self._style(style)}" t="n" />'

    def _of_number(self, number: str, style: str, kind: str = "n") -> str:
        return f' s="{self._style(style)}" t="{kind}"><v>{number}</v></c>'

    def _of_text(self, text: str, style: str) -> str:
        if style == ANY:
            style = TEXT  # so that text in a user's own column is no number after an edit
        number = self._style(style, cellsafe.looks_like_formula(text))
        return f' s="{number}" t="inlineStr">{_inline(cellsafe.cell_text(text))}</c>'

    def _style(self, name: str, quoted: bool = False) -> int:
        """Return the number of a style in the workbook; ``quoted``: text stays text when somebody edits the cell."""
        number = self._numbers.get((name, quoted))
        if number is None:
            cell = Cell(self._sheet, 1, 1, style_array=self._looks[name])
            if quoted:
                cell.quotePrefix = True
            number = self._numbers[name, quoted] = cell.style_id
        return number

    def _style_of_time(self, name: str, value: dt.date | dt.time) -> int:
        """Return the number of a style that shows a time as one: openpyxl gives it a format where it has none."""
        number = self._numbers.get((name, type(value)))
        if number is None:
            cell = Cell(self._sheet, 1, 1, style_array=self._looks[name])
            cell.value = value
            number = self._numbers[name, type(value)] = cell.style_id
        return number


def _inline(text: str) -> str:
    stripped = text.strip()
    kept = ' xml:space="preserve"' if stripped and stripped != text else ""
    return f"<is><t{kept}>{escape(text, quote=False)}</t></is>"


def with_bodies(workbook: bytes, bodies: Mapping[str, Body]) -> bytes:
    """Return ``workbook`` (the bytes of an .xlsx) with the rows of ``bodies``, by the part of the archive, put in."""
    target = BytesIO()
    with zipfile.ZipFile(BytesIO(workbook)) as source, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as copy:
        for part in source.infolist():
            data = source.read(part)
            body = bodies.get(part.filename)
            if body is None or not body.rows:
                copy.writestr(part, data, zipfile.ZIP_DEFLATED)
                continue
            part.compress_type = zipfile.ZIP_DEFLATED
            part.file_size = len(data) + body.size  # from which the archive tells whether it takes the larger format
            with copy.open(part, "w") as sheet:
                for piece in _with_rows(data.decode(), body):
                    sheet.write(piece.encode())
    return target.getvalue()


def _with_rows(sheet: str, body: Body) -> Iterator[str]:
    area = f'<dimension ref="A1:{get_column_letter(body.columns)}{body.last}"'
    sheet = _DIMENSION.sub(area, sheet, count=1)
    end = _END.search(sheet)
    if end is None:
        raise ValueError("a sheet without data")
    yield sheet[: end.start()]
    if end[0] != "</sheetData>":
        yield "<sheetData>"
    yield from _together(body.texts())
    yield "</sheetData>"
    yield sheet[end.end() :]


def _together(texts: Iterable[str]) -> Iterator[str]:
    waiting: list[str] = []
    for text in texts:
        waiting.append(text)
        if len(waiting) == _CELLS_AT_ONCE:
            yield "".join(waiting)
            waiting = []
    yield "".join(waiting)
