"""Workbooks in .ods (OpenDocument), read from content.xml with the text that each cell shows.

Repeated rows and columns are unrolled only as far as they hold something, and within the limits of a sheet.
"""

import datetime as dt
import re
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element

from defusedxml.ElementTree import iterparse

from planner.intake.archive import DAMAGE
from planner.intake.findings import Findings, Place, show
from planner.intake.layout import Hidden, Range
from planner.intake.rawtable import MOST_CELLS, MOST_COLUMNS, MOST_ROWS, Broken, RawSheet

_NS = "{urn:oasis:names:tc:opendocument:xmlns:%s:1.0}"
_TABLE, _OFFICE, _TEXT, _STYLE, _NUMBER = (_NS % n for n in ("table", "office", "text", "style", "datastyle"))
_ERROR_TYPE = "{urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}value-type"
# A cell holds 32,767 characters; more than that is read so that a finding can say so.
_LONGEST_TEXT, _MOST_RUNS, _MOST_BLANKS = 100_000, 10_000, 1_000
_CELLS = (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell")
_NUMERIC = ("float", "percentage", "currency")
_DURATION = re.compile(r"-?PT(\d+)H(\d+)M(\d+)(?:[.,]\d+)?S")


class _TooBig(Exception):
    """A sheet goes beyond the limits; the message says how."""


@dataclass(slots=True)
class OdsLooks:
    """What the cells of one sheet show: their text where a number is not shown plainly, and percentages."""

    texts: dict[tuple[int, int], str] = field(default_factory=dict)
    percents: set[tuple[int, int]] = field(default_factory=set)

    @property
    def any_percent(self) -> bool:
        """Whether a cell is formatted as a percentage."""
        return bool(self.percents)

    @property
    def any_padded(self) -> bool:
        """Whether a cell may show a number with leading zeros."""
        return bool(self.texts)

    def shown(self, row: int, column: int, value: float) -> str | None:
        """Return the shown text if its format fixes the digits and it hides none."""
        text = self.texts.get((row, column))
        return text if text is not None and float(text) == value else None

    def percent(self, row: int, column: int) -> bool:
        """Return whether the cell is formatted as a percentage."""
        return (row, column) in self.percents


@dataclass(slots=True)
class _Sheet:
    """A sheet while it is being read."""

    title: str
    wanted: bool
    rows: list[list[Any]] = field(default_factory=list)
    looks: OdsLooks = field(default_factory=OdsLooks)
    merged: list[Range] = field(default_factory=list)
    hidden_rows: list[int] = field(default_factory=list)
    hidden_columns: list[int] = field(default_factory=list)
    hidden: bool = False
    column_styles: list[tuple[int, str]] = field(default_factory=list)  # (columns, default cell style)
    comments: dict[tuple[int, int], str] = field(default_factory=dict)
    height: int = 0  # rows so far, blank ones at the end too
    cells: int = 0


def read_ods(path: Path, wanted: Callable[[str], bool], findings: Findings) -> tuple[list[str], list[RawSheet]]:
    """Return the titles of all sheets, hidden ones too, and the cells of those that are ``wanted``."""
    place = Place(path.name)
    try:
        with zipfile.ZipFile(path) as archive, archive.open("content.xml") as content:
            sheets = list(_sheets(content, wanted))
    except _TooBig as error:
        findings.add("file_too_big", place, reason=str(error))
        return [], []
    except DAMAGE as error:
        findings.add("file_damaged", place, reason=str(error) or type(error).__name__)
        return [], []
    read = [
        RawSheet(path.name, s.title, s.rows, s.looks, merged=tuple(s.merged), hidden=_hidden(s), comments=s.comments)
        for s in sheets
        if s.wanted
    ]
    return [s.title for s in sheets], read


def _hidden(sheet: _Sheet) -> Hidden:
    return Hidden(tuple(sheet.hidden_rows), tuple(sheet.hidden_columns), sheet.hidden)


def _sheets(content: Any, wanted: Callable[[str], bool]) -> Iterator[_Sheet]:
    fixed = _FixedDecimals()
    sheet: _Sheet | None = None
    for event, element in iterparse(content, events=("start", "end")):
        if event == "start":
            if element.tag == f"{_TABLE}table" and sheet is None:
                title = element.get(f"{_TABLE}name", "")
                sheet = _Sheet(title, wanted(title))
                sheet.hidden = element.get(f"{_TABLE}style-name", "") in fixed.not_displayed
        elif sheet is None:
            fixed.take(element)
        elif element.tag == f"{_TABLE}table-row":
            if sheet.wanted:
                _add_row(sheet, element, fixed.styles)
            element.clear()
        elif element.tag == f"{_TABLE}table-column":
            repeated = _repeated(element, "columns")
            before = sum(count for count, _ in sheet.column_styles)
            if _is_hidden(element) and before + repeated < MOST_COLUMNS:
                sheet.hidden_columns += range(before + 1, before + repeated + 1)
            sheet.column_styles.append((repeated, element.get(f"{_TABLE}default-cell-style-name", "")))
        elif element.tag == f"{_TABLE}table":
            element.clear()
            yield sheet
            sheet = None


class _FixedDecimals:
    """Gathers the styles whose number format fixes the decimals, as opposed to General, and those of hidden sheets."""

    def __init__(self) -> None:
        self.styles: set[str] = set()
        self.not_displayed: set[str] = set()
        self._formats: set[str] = set()

    def take(self, element: Element) -> None:
        """Look at one element of the part before the sheets."""
        if element.tag == f"{_NUMBER}number-style":
            if any(f"{_NUMBER}decimal-places" in part.attrib for part in element):
                self._formats.add(element.get(f"{_STYLE}name", ""))
        elif element.tag == f"{_STYLE}style" and element.get(f"{_STYLE}data-style-name") in self._formats:
            self.styles.add(element.get(f"{_STYLE}name", ""))
        elif element.tag == f"{_STYLE}style" and any(p.get(f"{_TABLE}display") == "false" for p in element):
            self.not_displayed.add(element.get(f"{_STYLE}name", ""))


def _repeated(element: Element, what: str) -> int:
    return max(int(element.get(f"{_TABLE}number-{what}-repeated", 1)), 1)


def _is_hidden(element: Element) -> bool:
    return element.get(f"{_TABLE}visibility") in ("collapse", "filter")


def _add_row(sheet: _Sheet, element: Element, fixed: set[str]) -> None:
    cells = [(cell, _repeated(cell, "columns")) for cell in element if cell.tag in _CELLS]
    values = [_value(cell) for cell, _ in cells]
    while values and values[-1] == "":  # formats alone may run to the last column
        values.pop()
    times = _repeated(element, "rows")
    start, sheet.height = sheet.height, sheet.height + times
    _keep_comments(sheet, start + 1, cells)
    if not values:
        return
    width = sum(count for _, count in cells[: len(values)])
    sheet.cells += width * times + start - len(sheet.rows)
    if sheet.height > MOST_ROWS or width > MOST_COLUMNS or sheet.cells > MOST_CELLS:
        raise _TooBig(f'the sheet "{sheet.title}" has {sheet.height} rows, {width} columns')
    sheet.rows.extend([] for _ in range(start - len(sheet.rows)))
    row = [value for value, (_, count) in zip(values, cells, strict=False) for _ in range(count)]
    for number in range(start + 1, start + times + 1):
        sheet.rows.append(list(row))
        if _is_hidden(element):
            sheet.hidden_rows.append(number)
        _look_at(sheet, number, cells[: len(values)], values, fixed)


def _keep_comments(sheet: _Sheet, row: int, cells: list[tuple[Element, int]]) -> None:
    column = 1
    for cell, count in cells:
        note = cell.find(f"{_OFFICE}annotation")
        if note is not None and (text := _text(note)):
            sheet.comments[row, column] = text
        column += count


def _look_at(sheet: _Sheet, row: int, cells: list[tuple[Element, int]], values: list[Any], fixed: set[str]) -> None:
    """Keep what cells of a row show, where that may differ from the plain number; and merged cells."""
    column = 1
    for (cell, count), value in zip(cells, values, strict=True):
        if isinstance(value, float):
            text = _text(cell).replace(",", ".")
            style = cell.get(f"{_TABLE}style-name") or _column_style(sheet, column)
            if re.fullmatch(r"\d+(\.\d+)?", text) and (text != show(value) or style in fixed):
                sheet.looks.texts.update({(row, column + k): text for k in range(count)})
            if cell.get(f"{_OFFICE}value-type") == "percentage":
                sheet.looks.percents.update((row, column + k) for k in range(count))
        height = int(cell.get(f"{_TABLE}number-rows-spanned", 1))
        width = int(cell.get(f"{_TABLE}number-columns-spanned", 1))
        if height * width > 1:
            sheet.merged.append(Range(row, column, row + height - 1, column + width - 1))
        column += count


def _column_style(sheet: _Sheet, column: int) -> str:
    for count, style in sheet.column_styles:
        column -= count
        if column <= 0:
            return style
    return ""


def _value(cell: Element) -> Any:
    kind = cell.get(f"{_OFFICE}value-type")
    if cell.get(_ERROR_TYPE) == "error":
        return Broken("error", _text(cell))
    if kind is None:
        return Broken("formula") if cell.get(f"{_TABLE}formula") and not _text(cell) else _text(cell)
    if kind in _NUMERIC:
        return float(cell.get(f"{_OFFICE}value", "nan"))
    if kind == "boolean":
        return cell.get(f"{_OFFICE}boolean-value") == "true"
    if kind == "date":
        return _date(cell)
    if kind == "time":
        match = _DURATION.fullmatch(cell.get(f"{_OFFICE}time-value", ""))
        if match is None:
            return _text(cell)
        hours, minutes, seconds = (int(part) for part in match.groups())
        return dt.timedelta(hours=hours, minutes=minutes, seconds=seconds)
    return cell.get(f"{_OFFICE}string-value") or _text(cell)


def _date(cell: Element) -> dt.date | str:
    written = cell.get(f"{_OFFICE}date-value", "")
    try:
        return dt.datetime.fromisoformat(written) if "T" in written else dt.date.fromisoformat(written)
    except ValueError:
        return _text(cell)


def _text(cell: Element) -> str:
    """Return the text that the cell shows, at most the longest one that is read; comments are no part of it."""
    paragraphs = (islice(_runs(paragraph), _MOST_RUNS) for paragraph in cell if paragraph.tag == f"{_TEXT}p")
    return "\n".join("".join(runs) for runs in paragraphs)[:_LONGEST_TEXT]


def _runs(element: Element) -> Iterator[str]:
    yield element.text or ""
    for child in element:
        if child.tag == f"{_TEXT}s":
            yield " " * min(int(child.get(f"{_TEXT}c", 1)), _MOST_BLANKS)
        elif child.tag in (f"{_TEXT}tab", f"{_TEXT}line-break"):
            yield "\t" if child.tag.endswith("tab") else "\n"
        else:
            yield from _runs(child)
        yield child.tail or ""
