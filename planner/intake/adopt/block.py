"""A table on a sheet as it was found: where it stands, and the names of its columns."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from planner.intake.headers import header_text
from planner.intake.names import is_statement
from planner.intake.rawtable import RawSheet, is_blank, tidy


@dataclass(frozen=True, eq=False)
class Block:
    """A table on a sheet: rows and columns from 0, ``stop`` and the end of ``columns`` excluded.

    ``names`` has the text of the header for each column, ``above`` the texts of titles that stand over it.
    """

    raw: RawSheet
    row: int
    header_rows: int
    columns: tuple[int, int]
    stop: int
    names: tuple[str, ...]
    groups: tuple[str, ...]
    above: tuple[str, ...] = ()
    more: tuple["Block", ...] = ()  # tables of other sheets that go on with it: the same header, other rows

    @cached_property
    def body(self) -> tuple[int, ...]:
        """The rows below the header that are not blank."""
        first, last = self.columns
        rows = range(self.row + self.header_rows, self.stop)
        return tuple(i for i in rows if any(not is_blank(cell) for cell in self.raw.cells[i][first:last]))

    def values(self, column: int) -> list[Any]:
        """Return the cells of a column, counted from 0 on the sheet, in the rows of the body and of what goes on."""
        own = [cell_of(self.raw, i, column) for i in self.body]
        name = self.names[column - self.columns[0]]
        for block in self.more:
            at = block.columns[0] + block.names.index(name) if name in block.names else column
            own += block.values(at)
        return own

    @property
    def width(self) -> int:
        """Number of columns."""
        return self.columns[1] - self.columns[0]


def cell_of(raw: RawSheet, row: int, column: int) -> Any:
    """Return a cell by its row and column, from 0; blank beyond the end of the row."""
    cells = raw.cells[row]
    return cells[column] if column < len(cells) else ""


def joined_names(rows: Sequence[Sequence[Any]]) -> tuple[list[str], list[str]]:
    """Return one name for each column of a header of several rows, and the names above the lowest.

    A name above spreads over the blank cells to its right that have a name below.

    >>> joined_names([["Shop", "RTT", "", ""], ["", "ESK", "ROV", "LDS"]])
    (['Shop', 'RTT ESK', 'RTT ROV', 'RTT LDS'], ['', 'RTT', 'RTT', 'RTT'])
    """
    width = max(map(len, rows))
    texts = [["" if is_blank(c) else header_text(c) for c in [*row, *[""] * (width - len(row))]] for row in rows]
    for above, *below in (texts[k:] for k in range(len(texts) - 1)):
        spread = ""
        for column in range(width):
            if above[column]:
                spread = above[column]
            elif spread and any(row[column] for row in below):
                above[column] = spread
            else:
                spread = ""
    names, groups = [], []
    for column in range(width):
        parts = [row[column] for row in texts if row[column]]
        names.append(" ".join(dict.fromkeys(parts)))
        groups.append(" ".join(dict.fromkeys(parts[:-1])))
    return names, groups


def is_unit(cell: Any) -> bool:
    """Return whether a cell below a header only says in what its values are."""
    if is_blank(cell):
        return True
    text = tidy(cell) if isinstance(cell, str) else ""
    return is_statement(text) or (text[:1] in "([" and text[-1:] in ")]")
