"""Where the parts of a fleet stand in its files: what a mapping pins, and what reading found."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from openpyxl.utils import get_column_letter

How = Literal["name", "unit", "similar", "content", "mapping"]


class Range(NamedTuple):
    """A rectangle of cells, rows and columns counted from 1, both ends included."""

    first_row: int
    first_column: int
    last_row: int
    last_column: int

    def __str__(self) -> str:
        first = f"{get_column_letter(self.first_column)}{self.first_row}"
        last = f"{get_column_letter(self.last_column)}{self.last_row}"
        return f"{first}:{last}"


@dataclass(frozen=True, slots=True)
class Hidden:
    """What of a sheet people do not see: rows and columns counted from 1, or all of it."""

    rows: tuple[int, ...] = ()
    columns: tuple[int, ...] = ()
    sheet: bool = False


NOTHING_HIDDEN = Hidden()


@dataclass(frozen=True, slots=True)
class SheetPins:
    """What a mapping file says of one sheet; blank is left to be found.

    ``columns`` leads from a canonical name to the text of a header, or to a letter such as ``=C``; ``units`` to the
    unit and direction of its values; ``ignore`` names headers that are to be left out.
    """

    file: str = ""
    title: str = ""
    header_row: int = 0
    header_rows: int = 0
    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()


Pins = Mapping[str, SheetPins]  # by the canonical name of the sheet


@dataclass(frozen=True, slots=True)
class Matched:
    """One column that was found: its canonical name, header and letter, how it was found, and its stated unit."""

    column: str
    header: str
    letter: str
    how: How
    unit: str = ""


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """Where one sheet of the fleet was found, and which of its columns are which; ``own`` are the user's own."""

    sheet: str
    file: str
    title: str
    header_row: int
    header_rows: int
    columns: tuple[Matched, ...]
    own: tuple[str, ...] = ()
