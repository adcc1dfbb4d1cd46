"""Workbooks in .xlsx and .xlsm: values by python-calamine, and by openpyxl what calamine does not tell.

Calamine is some seven times faster, but reads an error, and a formula that was never calculated, as blank, and drops
number formats. So the sheets' XML is searched for such cells first, and openpyxl (which reads XML through defusedxml)
is asked only about sheets that have them, or when the format of a number matters. Macros and external links are
neither run nor followed by either.
"""

import re
import warnings
import zipfile
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import python_calamine
from openpyxl import load_workbook
from openpyxl.utils import column_index_from_string

from planner.intake.archive import DAMAGE
from planner.intake.findings import Findings, Place
from planner.intake.hidden import hidden_by_title, hidden_parts, titles_of_parts
from planner.intake.layout import Hidden, Range
from planner.intake.looks import is_percent, rendered
from planner.intake.rawtable import MOST_CELLS, MOST_ROWS, Broken, RawSheet

# A cell of type error; and a formula that is followed by no value, which is looked for only where there are formulas.
_ERRORS = (b't="e"', b"t='e'")
_FORMULAS = (b"f>", b"<f ", b":f ")
_UNSAVED = re.compile(
    rb"""(?:</(?:\w+:)?f>|<(?:\w+:)?f\b[^>]*/>)\s*(?:</(?:\w+:)?c>|<(?:\w+:)?v\s*/>|<(?:\w+:)?v></)"""
)

_PROLOG = 100_000  # bytes in which a document type stands, if there is one
_RARE, _LONGEST_SIGN = 20_000, 6

# Outlines of a sheet that can be told by one quick search each: (pattern of a cell beyond it, its width or height).
_WIDTHS = ((rb"""r\s*=\s*["'][A-Za-z]{2}""", 26), (rb"""r\s*=\s*["'][A-Za-z]{3}""", 26 + 26**2))
_HEIGHTS = ((rb"""r\s*=\s*["'][A-Za-z]+\d{6}""", 99_999), (rb"""r\s*=\s*["'][A-Za-z]+\d{7}""", 999_999))
# Neither a column beyond ZZ nor a row of six digits: almost every sheet, settled by one look.
_FAR = re.compile(rb"""r\s*=\s*["'](?:[A-Za-z]{3}|[A-Za-z]{1,2}\d{6})""")
_NEAR = (99_999, 26 + 26**2)
_HIGHEST, _WIDEST = 9_999_999, 26 + 26**2 + 26**3
# A cell with content: a style alone takes no room.
_CELL = re.compile(rb"""<(?:\w+:)?c\s[^>]*?\br\s*=\s*["']([A-Za-z]+)(\d+)["'][^>]*(?<!/)>\s*<""")


def read_xlsx(path: Path, wanted: Callable[[str], bool], findings: Findings) -> tuple[list[str], list[RawSheet]]:
    """Return the titles of all worksheets, hidden ones too, and the cells of those that are ``wanted``."""
    place = Place(path.name)
    try:
        with _calamine_errors():
            survey = _survey(path, place, findings)
            if survey is None:
                return [], []
            workbook = python_calamine.load_workbook(str(path))
            kinds = python_calamine.SheetTypeEnum
            titles = [sheet.name for sheet in workbook.sheets_metadata if sheet.typ == kinds.WorkSheet]
            details = _Details(path)
            read = [title for title in titles if wanted(title)]
            titles_of = titles_of_parts(path) if survey.odd or survey.hidden else {}
            odd = {titles_of.get(name) for name in survey.odd}
            looked_at = read if None in odd else [title for title in read if title in odd]
            broken = details.broken(looked_at) if looked_at and survey.odd else {}
            unseen = {s.name for s in workbook.sheets_metadata if s.visible != python_calamine.SheetVisibleEnum.Visible}
            hidden = hidden_by_title(titles_of, survey.hidden, unseen)
            sheets = [_sheet(path, workbook, t, broken.get(t, {}), details, hidden.get(t, Hidden())) for t in read]
    except (python_calamine.CalamineError, *DAMAGE) as error:
        findings.add("file_damaged", place, reason=str(error) or type(error).__name__)
        return [], []
    return titles, sheets


def _sheet(
    path: Path,
    workbook: Any,
    title: str,
    broken: Mapping[tuple[int, int], Broken],
    details: "_Details",
    hidden: Hidden,
) -> RawSheet:
    sheet = workbook.get_sheet_by_name(title)
    rows = sheet.to_python(skip_empty_area=False)
    _lay_over(rows, broken)
    ranges = sheet.merged_cell_ranges or []
    merged = tuple(Range(*(number + 1 for corner in corners for number in corner)) for corners in ranges)
    return RawSheet(path.name, title, rows, XlsxLooks(details, title), merged=merged, hidden=hidden)


def _lay_over(rows: list[list[Any]], broken: Mapping[tuple[int, int], Broken]) -> None:
    """Put broken cells, which calamine reads as blank or leaves out at the edges, into ``rows``."""
    if not broken:
        return
    height, width = max(row for row, _ in broken), max(column for _, column in broken)
    width = max([width, *map(len, rows)])
    rows.extend([] for _ in range(height - len(rows)))
    for row in rows:
        row.extend("" for _ in range(width - len(row)))
    for (row_number, column), cell in broken.items():
        rows[row_number - 1][column - 1] = cell


@contextmanager
def _calamine_errors() -> Iterator[None]:
    """Turn a panic of the Rust library, which Python sees as a BaseException, into its ordinary error."""
    try:
        yield
    except BaseException as error:
        if type(error).__name__ != "PanicException":
            raise
        raise python_calamine.CalamineError(str(error)) from None


@dataclass(slots=True)
class _Survey:
    """What a first look at the parts of a workbook shows."""

    odd: set[str] = field(default_factory=set)  # parts in which some cell holds an error or a formula without a result
    hidden: dict[str, Hidden] = field(default_factory=dict)  # by the name of the part


def _survey(path: Path, place: Place, findings: Findings) -> _Survey | None:
    """Return what the parts of a workbook show; None, with a finding, for a hostile file.

    Calamine allocates the whole outline of a sheet, also around one far cell, and trusts the sizes that the archive
    claims. Reading every part here first shows whether both are sane.
    """
    survey = _Survey()
    with zipfile.ZipFile(path) as archive:
        for name in archive.namelist():
            data = archive.read(name) if name.endswith((".xml", ".rels")) else b""
            if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
                findings.add("file_damaged", place, reason=f'its part "{name}" is not written in UTF-8')
                return None
            if b"<!DOCTYPE" in data[:_PROLOG]:
                findings.add(
                    "file_damaged",
                    place,
                    reason=f'its part "{name}" declares XML entities, which a workbook never does',
                )
                return None
            if b"sheetData" not in data:
                continue
            height, width = _outline(data)
            if height > MOST_ROWS or height * width > MOST_CELLS:
                findings.add("file_too_big", place, reason=f"a sheet has {height} rows and {width} columns")
                return None
            if _is_odd(data):
                survey.odd.add(name)
            if b"hidden" in data:
                survey.hidden[name] = hidden_parts(data)
    return survey


def _is_odd(data: bytes) -> bool:
    if _contains(data, b"e", _ERRORS):
        return True
    return _contains(data, b"f", _FORMULAS) and _UNSAVED.search(data) is not None


def _contains(data: bytes, letter: bytes, signs: Collection[bytes]) -> bool:
    """Return whether any of the ``signs``, which all hold ``letter``, is in ``data``: quick where it is rare."""
    at = -1
    for _ in range(_RARE):
        at = data.find(letter, at + 1)
        if at < 0:
            return False
        around = data[max(at - _LONGEST_SIGN, 0) : at + _LONGEST_SIGN]
        for sign in signs:
            if sign in around:
                return True
    return any(sign in data for sign in signs)


def _outline(data: bytes) -> tuple[int, int]:
    """Return rows and columns of a sheet: upper limits where these are harmless, else counted exactly."""
    if _NEAR[0] * _NEAR[1] <= MOST_CELLS and not _FAR.search(data):
        return _NEAR
    height = next((most for pattern, most in _HEIGHTS if not re.search(pattern, data)), _HIGHEST)
    width = next((most for pattern, most in _WIDTHS if not re.search(pattern, data)), _WIDEST)
    if height <= MOST_ROWS and height * width <= MOST_CELLS:
        return height, width
    cells = [(letters.decode(), int(row)) for letters, row in _CELL.findall(data)]
    columns = {column_index_from_string(letters.upper()) if len(letters) < 4 else _WIDEST for letters, _ in cells}
    return max((row for _, row in cells), default=0), max(columns, default=0)


class _Details:
    """What openpyxl knows of a workbook; each part is read when first asked for."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._formats: dict[str, dict[tuple[int, int], str]] = {}

    @cached_property
    def any_percent(self) -> bool:
        """Whether the workbook has a percentage format at all."""
        return b"%" in self._styles or re.search(rb"""numFmtId=["'](?:9|10)["']""", self._styles) is not None

    @cached_property
    def any_padded(self) -> bool:
        """Whether the workbook has a format with leading zeros at all."""
        return re.search(rb"""formatCode=["'][^"'0.]*00""", self._styles) is not None

    @cached_property
    def _styles(self) -> bytes:
        with zipfile.ZipFile(self._path) as archive:
            return archive.read("xl/styles.xml") if "xl/styles.xml" in archive.namelist() else b""

    def cells(self, titles: Collection[str], data_only: bool) -> Iterator[tuple[str, Any]]:
        """Yield openpyxl's cells of some sheets, each with the sheet's title; those without a place left out.

        Raises CalamineError, the error of the other library, whatever it is that openpyxl cannot read.
        """
        with warnings.catch_warnings():
            # About features that openpyxl would lose on saving, and bad dates, which calamine has read already.
            warnings.simplefilter("ignore")
            try:
                with (
                    self._path.open("rb") as file,  # openpyxl leaves it open when it fails
                    closing(load_workbook(file, read_only=True, data_only=data_only, keep_links=False)) as workbook,
                ):
                    for title in titles:
                        sheet = workbook[title]
                        sheet.reset_dimensions()  # what a file says of its size need not be true
                        yield from ((title, cell) for row in sheet.iter_rows() for cell in row if hasattr(cell, "row"))
            except Exception as error:
                raise python_calamine.CalamineError(str(error).strip() or type(error).__name__) from error

    def broken(self, titles: Collection[str]) -> dict[str, dict[tuple[int, int], Broken]]:
        """Return error cells and formulas without a result, by title, and by row and column from 1."""
        formulas = {(t, c.row, c.column) for t, c in self.cells(titles, data_only=False) if c.data_type == "f"}
        found: dict[str, dict[tuple[int, int], Broken]] = {title: {} for title in titles}
        for title, cell in self.cells(titles, data_only=True):
            if cell.data_type == "e":
                found[title][cell.row, cell.column] = Broken("error", str(cell.value))
            # An empty text as the result has the type "str".
            elif cell.value is None and cell.data_type == "n" and (title, cell.row, cell.column) in formulas:
                found[title][cell.row, cell.column] = Broken("formula")
        return found

    def formats(self, title: str) -> dict[tuple[int, int], str]:
        """Return the number formats other than General of cells that hold numbers, by row and column from 1.

        Openpyxl refuses some files that calamine reads; of those no format is known.
        """
        if title not in self._formats:
            found: dict[tuple[int, int], str] = {}
            with suppress(python_calamine.CalamineError):
                found = {
                    (cell.row, cell.column): cell.number_format
                    for _, cell in self.cells([title], data_only=True)
                    if type(cell.value) in (int, float) and cell.number_format != "General"
                }
            self._formats[title] = found
        return self._formats[title]


class XlsxLooks:
    """Number formats of one sheet."""

    def __init__(self, details: _Details, title: str) -> None:
        self._details = details
        self._title = title

    @property
    def any_percent(self) -> bool:
        """Whether the workbook has a percentage format at all."""
        return self._details.any_percent

    @property
    def any_padded(self) -> bool:
        """Whether the workbook has a format with leading zeros at all."""
        return self._details.any_padded

    def shown(self, row: int, column: int, value: float) -> str | None:
        """Return the number as its format shows it, if the format fixes the digits."""
        number_format = self._details.formats(self._title).get((row, column))
        return None if number_format is None else rendered(value, number_format)

    def percent(self, row: int, column: int) -> bool:
        """Return whether the cell is formatted as a percentage."""
        return is_percent(self._details.formats(self._title).get((row, column), ""))
