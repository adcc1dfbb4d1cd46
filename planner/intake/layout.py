"""Where the parts of a fleet stand in its files: what a mapping pins, and what reading found."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from openpyxl.utils import get_column_letter

How = Literal["name", "unit", "similar", "content", "mapping"]
RowsAre = Literal["sites", "clusters", "nodes", "pairs"]  # what a row of the sheet Sites stands for


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
    unit and direction of its values; ``ignore`` names headers that are to be left out. ``also`` are sheets of the same
    header whose rows follow. ``leave_out`` leads from a header to the values whose rows are not read. ``settings``
    leads from a setting to its label in the column ``labels``; its value stands in the column ``values``, and
    ``given`` are settings that no sheet holds. ``others`` are further tables, each of which counts where those before
    it know nothing.
    """

    file: str = ""
    title: str = ""
    header_row: int = 0
    header_rows: int = 0
    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    only: bool = False  # columns that are not named are the user's own
    hubs_down: bool = False  # a matrix with a row for each hub
    hubs: tuple[str, ...] = ()  # headers of the columns of a matrix, where other columns stand beside them
    rows: RowsAre = "sites"
    dates: str = ""  # "day first" or "month first", for dates that may be either
    leave_out: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    settings: Mapping[str, str] = field(default_factory=dict)
    labels: str = ""
    values: str = ""
    given: Mapping[str, str] = field(default_factory=dict)
    listed: tuple[str, ...] = ()  # ids of the rows, where no sheet has them
    query: str = ""  # what is asked of a database for this sheet
    unit_column: str = ""  # the header of a column that says the unit of each row's time
    others: tuple["SheetPins", ...] = ()

    @property
    def tables(self) -> tuple["SheetPins", ...]:
        """This table and the further ones, in the order in which they count."""
        return (self, *self.others)


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
