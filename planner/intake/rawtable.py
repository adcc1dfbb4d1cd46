"""Tables as they were found: cells with their addresses, nothing cleaned.

A blank cell is ``""`` in every source, or NaN / NaT in a column that came as a float64 or datetime64[us] array.
"""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Literal, Protocol

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.columns import Column
from planner.fleet import Ints
from planner.intake.findings import Findings, Place, show

# Most cells, blank ones within the outline counted, that are held in memory: some 100,000 sites x 800 hubs.
MOST_CELLS = 80_000_000
# Rows and columns of a sheet, as documented for .xlsx by XlsxWriter.
MOST_ROWS, MOST_COLUMNS = 1_048_576, 16_384

# Characters that look like a blank, and characters that do not show at all.
_BLANKS = dict.fromkeys(map(ord, "\u00a0\u2007\u2009\u202f\u3000"), " ")
_INVISIBLE = dict.fromkeys(map(ord, "\u200b\u200c\u200d\u2060\ufeff\u00ad"))
_ERROR_TEXTS = frozenset({"#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#CALC!"})


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
class RawSheet:
    """A sheet as it was read: rows of cells from A1 on, with nothing yet known about headers.

    ``merged`` names ranges of merged cells, as (first row, last row, address), rows counted from 1.
    """

    file: str
    title: str
    cells: Sequence[Sequence[Any]]
    looks: Looks = NO_LOOKS
    text_only: bool = False  # every cell is text by nature of the file, as in CSV
    merged: tuple[tuple[int, int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class RawTable:
    """Headers and, for each, an array of cells; ``rows`` are the row numbers that the user sees.

    ``labels`` replaces cell addresses in sources that have none.
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

    def place(self, position: int | None = None, column: int | None = None) -> Place:
        """Return where row ``position`` and column ``column``, both counted from 0, stand for the user."""
        if position is not None and self.labels:
            return Place(self.file, self.title, label=self.labels[position])
        row = 0 if position is None else int(self.rows[position])
        return Place(self.file, self.title, row, 0 if column is None else column + 1)

    def header_place(self, column: int) -> Place:
        """Return where the header of a column stands."""
        return Place(self.file, self.title, self.header_row, column + 1)

    def only(self, keep: npt.NDArray[Any]) -> "RawTable":
        """Return a copy with the rows that ``keep`` (positions or a mask) selects."""
        labels = tuple(np.array(self.labels, dtype=object)[keep]) if self.labels else ()
        return RawTable(
            self.file,
            self.title,
            self.headers,
            tuple(c[keep] for c in self.columns),
            self.rows[keep],
            self.header_row,
            self.looks,
            self.text_only,
            labels,
        )


@dataclass(frozen=True, slots=True)
class Cells:
    """One column of a raw table, what it should hold, and where its findings go."""

    spec: Column
    table: RawTable
    index: int
    findings: Findings
    _held: npt.NDArray[Any] | None = field(default=None)

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
    """Return ``text`` without blanks at its ends and without invisible characters, in Unicode's composed form.

    >>> tidy("\\u00a0ES\\u200bK ")
    'ESK'
    """
    if not text.isascii():
        text = unicodedata.normalize("NFC", text.translate(_BLANKS).translate(_INVISIBLE))
    return text.strip()


def is_blank(value: object) -> bool:
    """Return whether a cell holds nothing but blanks."""
    return value is None or (isinstance(value, str) and not (value and tidy(value)))


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
