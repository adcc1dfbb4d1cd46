"""What the cells of one column look like: shares of figures, versions, days and words, and the keys that they are."""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from planner.columns import Column
from planner.intake.adopt.block import Block, cell_of
from planner.intake.adopt.kinds import kind_of
from planner.intake.content import fits_share
from planner.intake.findings import show
from planner.intake.ids import numeral
from planner.intake.known_words import is_unknown
from planner.intake.lookalikes import skeleton
from planner.intake.nouns import counted_in
from planner.intake.rawtable import Broken, is_blank, tidy
from planner.intake.written import read_number

_LOOKED_AT = 150  # cells, evenly over the column
_SHOWN = 3
_FIGURE = Column("figure", "number", "", "ms, round trip")
_VERSION = re.compile(
    r"[vrVR]?\.?\s*\d{1,4}(\.\d{1,6}){1,3}([ .-]?(sp|rc|u|p|hf|patch|update|build|b)\s?\d*)?", re.ASCII | re.I
)


def key_of(value: Any) -> str:
    """Return a form that is equal for an id however it was typed: look-alikes folded, case and leading zeros aside.

    >>> key_of("0042") == key_of(42.0) == key_of(" 42 "), key_of("Alder  Street")
    (True, 'alder street')
    """
    text = tidy(value) if isinstance(value, str) else show(value)
    text = skeleton(text).casefold()
    return numeral(text) or text


@dataclass(frozen=True, eq=False)
class Profile:
    """One column of a block: its position on the sheet, from 0, its header, and what its cells are."""

    block: Block
    column: int

    @property
    def header(self) -> str:
        """The text of the header, rows joined; blank if it has none."""
        return self.block.names[self.column - self.block.columns[0]]

    @property
    def label(self) -> str:
        """The lowest text of the header, as a question quotes it."""
        group = self.block.groups[self.column - self.block.columns[0]]
        own = self.header.removeprefix(group).strip() if group else self.header
        return f'"{own or self.header}"'

    @property
    def cell(self) -> str:
        """The address of that text, such as ``A5``."""
        block = self.block
        rows = range(block.row + block.header_rows - 1, block.row, -1)
        row = next((i for i in rows if not is_blank(cell_of(block.raw, i, self.column))), block.row)
        return block.raw.place(row + 1, self.column + 1).cell

    @cached_property
    def cells(self) -> list[Any]:
        """The cells of the body."""
        return self.block.values(self.column)

    @cached_property
    def values(self) -> list[Any]:
        """The cells that say something."""
        return [v for v in self.cells if not _says_nothing(v)]

    @cached_property
    def sample(self) -> list[Any]:
        """Up to some hundred of the values, evenly over the column."""
        step = max(1, len(self.values) // _LOOKED_AT)
        return self.values[::step][:_LOOKED_AT]

    @cached_property
    def keys(self) -> list[str]:
        """The values as keys, in order."""
        return [key_of(v) for v in self.values]

    @cached_property
    def key_set(self) -> frozenset[str]:
        """The different keys."""
        return frozenset(self.keys)

    @cached_property
    def filled(self) -> float:
        """Share of the cells that say something."""
        return len(self.values) / len(self.cells) if self.cells else 0.0

    @cached_property
    def distinct(self) -> float:
        """Share of the values that are different."""
        return len(self.key_set) / len(self.keys) if self.keys else 0.0

    @cached_property
    def kinds(self) -> Counter[str]:
        """How many of the sample look like a figure, a date or a text."""
        return Counter(kind for value in self.sample if (kind := kind_of(value)))

    def share(self, kind: str) -> float:
        """Return the share of the sample that looks like ``kind``."""
        return self.kinds[kind] / max(self.kinds.total(), 1)

    @cached_property
    def figures(self) -> list[float]:
        """The figures among the sample."""
        read = (float(v) if isinstance(v, int | float) and not isinstance(v, bool) else _figure(v) for v in self.sample)
        return [value for value in read if value == value]

    @cached_property
    def nouns(self) -> list[frozenset[str]]:
        """What the sample says that its figures count, for each cell with a noun."""
        counted = (counted_in(tidy(value)) for value in self.sample if isinstance(value, str))
        return [concepts for found in counted if found is not None for concepts in (found[1],)]

    @cached_property
    def version_share(self) -> float:
        """Share of the sample that is written as versions are."""
        texts = [tidy(v) if isinstance(v, str) else show(v) for v in self.sample]
        return sum(_VERSION.fullmatch(text) is not None for text in texts) / len(texts) if texts else 0.0

    def fits(self, column: Column) -> float:
        """Return the share of the sample that ``column`` could hold."""
        return fits_share(self.sample, column)

    @property
    def examples(self) -> str:
        """A few different values, as a question shows them."""
        return ", ".join(_few(self.sample))

    @cached_property
    def most_used(self) -> list[tuple[str, int]]:
        """The different texts with how often each occurs, the most frequent first."""
        return Counter(tidy(v) if isinstance(v, str) else show(v) for v in self.values).most_common()

    def within(self, keys: Iterable[str]) -> float:
        """Return the share of the values that are among ``keys``."""
        among = keys if isinstance(keys, frozenset | set | dict) else frozenset(keys)
        return sum(key in among for key in self.keys) / len(self.keys) if self.keys else 0.0


def _few(values: list[Any]) -> list[str]:
    return list(dict.fromkeys(show(value) for value in values))[:_SHOWN]


def _says_nothing(value: Any) -> bool:
    if is_blank(value) or isinstance(value, Broken) or value != value:
        return True
    return isinstance(value, str) and is_unknown(tidy(value))


def _figure(value: Any) -> float:
    if not isinstance(value, str):
        return float("nan")
    counted = counted_in(tidy(value))
    return read_number(value if counted is None else counted[0], _FIGURE).value


def profiles_of(block: Block) -> list[Profile]:
    """Return the columns of a block that have a header or values."""
    first, last = block.columns
    found = [Profile(block, column) for column in range(first, last)]
    return [profile for profile in found if profile.header or profile.values]
