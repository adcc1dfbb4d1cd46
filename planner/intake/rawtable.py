"""Tables as they were found: cells with their addresses, nothing cleaned.

A blank cell is ``""`` in every source, or NaN / NaT in a column that came as a float64 or datetime64[us] array.
"""

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Literal, Protocol

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.columns import Column
from planner.fleet import Ints
from planner.intake.findings import Findings, Place, show
from planner.intake.layout import NOTHING_HIDDEN, Hidden, Range, SheetPins
from planner.intake.units import NOTHING_STATED, Stated

# Most cells, blank ones within the outline counted, that are held in memory: some 100,000 sites x 800 hubs.
MOST_CELLS = 80_000_000
# Rows and columns of a sheet, as documented for .xlsx by XlsxWriter.
MOST_ROWS, MOST_COLUMNS = 1_048_576, 16_384

# Rows of a table that goes on on other sheets are numbered on: those of its second sheet begin beyond this number.
SHEET_STEP = 1 << 21

# Characters that look like a blank, and characters that do not show at all.
_BLANKS = dict.fromkeys(
    map(ord, "\u00a0\u1680\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000"), " "
)
_INVISIBLE = dict.fromkeys(map(ord, "\u200b\u200c\u200d\u2060\ufeff\u00ad\u180e\u2061\u2062\u2063\u2064"))
# What turns the direction of writing, so that people see another text than there is; and control characters.
_STEERING = dict.fromkeys(
    [*map(ord, "\u061c\u200e\u200f"), *range(0x202A, 0x202F), *range(0x2066, 0x206A)]
    + [code for code in (*range(0x20), *range(0x7F, 0xA0)) if chr(code) not in "\t\n\r"]
)
# In English, German, French, Spanish, Italian, Portuguese and Dutch.
_ERRORS = """#N/A #REF! #VALUE! #DIV/0! #NAME? #NUM! #NULL! #SPILL! #CALC! #FIELD! #BLOCKED! #UNKNOWN! #CONNECT! #BUSY!
#EXTERNAL! #PYTHON! #GETTING_DATA #NV #BEZUG! #WERT! #ZAHL! #ÜBERLAUF! #VALEUR! #NOM? #NOMBRE! #NUL! #¡REF! #¡VALOR!
#¡DIV/0! #¿NOMBRE? #¡NUM! #¡NULO! #N/D #N/D! #RIF! #VALORE! #NOME? #NULLO! #VALOR! #NÚM! #NULO! #VERW! #WAARDE!
#DEEL/0! #NAAM? #GETAL! #LEEG! #N/B #SPAT!"""
_ERROR_TEXTS = frozenset(_ERRORS.split())


@dataclass(frozen=True, slots=True)
class Broken:
    """A cell without a usable value: an error, or a formula whose result was never saved."""

    kind: Literal["error", "formula"]
    text: str = ""


class Looks(Protocol):
    """How cells look, beyond their values: needed where a number may have been a text once."""

    @property
    def any_percent(self) -> bool:
        """Whether any cell may be formatted as a percentage."""

    @property
    def any_padded(self) -> bool:
        """Whether any cell may show a number with leading zeros."""

    def shown(self, row: int, column: int, value: float) -> str | None:
        """Return the number as shown, if its format settles the digits; None if it does not."""

    def percent(self, row: int, column: int) -> bool:
        """Return whether the cell is formatted as a percentage."""


class _NoLooks:
    """For sources that have values only."""

    any_percent = any_padded = False

    def shown(self, row: int, column: int, value: float) -> str | None:
        """Return None: nothing is known."""
        return None

    def percent(self, row: int, column: int) -> bool:
        """Return False."""
        return False


NO_LOOKS = _NoLooks()


@dataclass(frozen=True, slots=True)
class LooksOfSheets:
    """How the cells of a table look that goes on on other sheets."""

    looks: tuple[Looks, ...]

    @property
    def any_percent(self) -> bool:
        """Whether any cell may be formatted as a percentage."""
        return any(one.any_percent for one in self.looks)

    @property
    def any_padded(self) -> bool:
        """Whether any cell may show a number with leading zeros."""
        return any(one.any_padded for one in self.looks)

    def shown(self, row: int, column: int, value: float) -> str | None:
        """Return the number as shown, if its format settles the digits."""
        sheet, row = divmod(row, SHEET_STEP)
        return self.looks[sheet].shown(row, column, value)

    def percent(self, row: int, column: int) -> bool:
        """Return whether the cell is formatted as a percentage."""
        sheet, row = divmod(row, SHEET_STEP)
        return self.looks[sheet].percent(row, column)


@dataclass(frozen=True, slots=True)
class RawSheet:
    """A sheet as it was read: rows of cells from A1 on, with nothing yet known about headers.

    ``merged`` are the ranges of merged cells, ``hidden`` is what people do not see. ``comments`` are those of
    .ods files by row and column, from 1.
    """

    file: str
    title: str
    cells: Sequence[Sequence[Any]]
    looks: Looks = NO_LOOKS
    text_only: bool = False  # every cell is text by nature of the file, as in CSV
    merged: tuple[Range, ...] = ()
    hidden: Hidden = NOTHING_HIDDEN
    comments: Mapping[tuple[int, int], str] = field(default_factory=dict)

    def place(self, row: int = 0, column: int = 0) -> Place:
        """Return a row, a column or a cell, counted from 1, or the whole sheet, as a place."""
        return Place(self.file, self.title, row, column)


@dataclass(frozen=True, slots=True)
class RawTable:
    """Headers and, for each, an array of cells; ``rows`` are the row numbers that the user sees.

    ``header_row`` is the last of ``header_rows`` rows; ``groups`` are names that stand above the headers, one for each
    column. ``pins`` is what a mapping says of the table. ``labels`` replaces cell addresses in sources that have none.
    ``also`` are the titles of further sheets that the rows go on on, see `SHEET_STEP`.
    """

    file: str
    title: str
    headers: tuple[Any, ...]
    columns: tuple[npt.NDArray[Any], ...]
    rows: Ints
    header_row: int = 1
    looks: Looks = NO_LOOKS
    text_only: bool = False
    labels: tuple[str, ...] = ()
    header_rows: int = 1
    groups: tuple[str, ...] = ()
    pins: SheetPins | None = None
    also: tuple[str, ...] = ()

    def with_head(self, rows: int, groups: tuple[str, ...], pins: SheetPins | None) -> "RawTable":
        """Return a copy that knows more of its header."""
        return replace(self, header_rows=rows, groups=groups, pins=pins)

    def place(self, position: int | None = None, column: int | None = None) -> Place:
        """Return where row ``position`` and column ``column``, both counted from 0, stand for the user."""
        if position is not None and self.labels:
            return Place(self.file, self.title, label=self.labels[position])
        sheet, row = (0, 0) if position is None else divmod(int(self.rows[position]), SHEET_STEP)
        title = self.also[sheet - 1] if sheet else self.title
        return Place(self.file, title, row, 0 if column is None else column + 1)

    def header_place(self, column: int) -> Place:
        """Return where the header of a column stands."""
        return Place(self.file, self.title, self.header_row, column + 1)

    def only(self, keep: npt.NDArray[Any]) -> "RawTable":
        """Return a copy with the rows that ``keep`` (positions or a mask) selects."""
        labels = tuple(np.array(self.labels, dtype=object)[keep]) if self.labels else ()
        return replace(self, columns=tuple(c[keep] for c in self.columns), rows=self.rows[keep], labels=labels)


@dataclass(frozen=True, slots=True)
class Cells:
    """One column of a raw table, what it should hold, what its header states, and where its findings go."""

    spec: Column
    table: RawTable
    index: int
    findings: Findings
    _held: npt.NDArray[Any] | None = field(default=None)
    stated: Stated = NOTHING_STATED
    beyond: dict[int, float] | None = None  # where it is given: positions whose true value exceeds a figure, and that

    def holding(self, values: npt.NDArray[Any]) -> "Cells":
        """Return a copy with other values."""
        return replace(self, _held=values)

    @property
    def values(self) -> npt.NDArray[Any]:
        """The cells as they came: object, float64, or datetime64[us]."""
        return self.table.columns[self.index] if self._held is None else self._held

    def objects(self) -> list[Any]:
        """Return the cells as Python values, blanks as ``""``."""
        if self.values.dtype == object:
            return self.values.tolist()  # type: ignore[no-any-return]
        blank = np.isnat(self.values) if self.values.dtype.kind == "M" else np.isnan(self.values)
        return ["" if b else v for v, b in zip(self.values.tolist(), blank, strict=True)]

    def place(self, position: int) -> Place:
        """Return where the cell stands."""
        return self.table.place(position, self.index)

    def add(self, code: str, position: int, **words: object) -> None:
        """Record a finding about one cell."""
        words.setdefault("value", partial(self._quoted, position))
        self.findings.add(code, self.place(position), self.spec.name, **words)

    def _quoted(self, position: int) -> str:
        value = self.values[position]
        return show(value.item() if isinstance(value, np.generic) else value)

    def note(self, code: str, position: int, **words: object) -> None:
        """Record one more cell of a finding that sums up."""
        self.findings.note(code, self.place(position), self.spec.name, **words)

    def shown(self, position: int, value: float) -> str | None:
        """Return the number as shown, if its format settles the digits."""
        return self.table.looks.shown(int(self.table.rows[position]), self.index + 1, value)


def tidy(text: str) -> str:
    """Return ``text`` without blanks at its ends, without invisible and control characters, in Unicode's composed form.

    >>> tidy("\\u00a0ES\\u200bK "), tidy("KSE\\u202e\\x07")
    ('ESK', 'KSE')
    """
    if not text.isascii():
        text = unicodedata.normalize("NFC", text.translate(_BLANKS).translate(_INVISIBLE).translate(_STEERING))
    elif not text.isprintable():
        text = text.translate(_STEERING)
    return text.strip()


def is_steered(text: str) -> bool:
    """Return whether a text holds control characters, or such as turn the direction of writing."""
    return not text.isprintable() and text.translate(_STEERING) != text


def is_blank(value: object) -> bool:
    """Return whether a cell holds nothing but blanks."""
    if isinstance(value, str):
        return not value or (not "!" <= value[0] <= "~" and not tidy(value))  # most texts begin with a plain letter
    return value is None


def is_empty(column: npt.NDArray[Any]) -> bool:
    """Return whether a column of cells is blank throughout."""
    return bool(pd.isna(column).all()) if column.dtype != object else all(map(is_blank, column.tolist()))


def broken(value: object) -> Broken | None:
    """Return what is wrong with a cell that has no usable value, else None."""
    if isinstance(value, Broken):
        return value
    if isinstance(value, str) and value[:1] == "#" and value.strip() in _ERROR_TEXTS:
        return Broken("error", value.strip())
    return None
