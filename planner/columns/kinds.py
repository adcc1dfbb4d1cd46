"""What a column and a sheet are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "id",  # text key; case and leading zeros are kept
    "ids",  # several ids separated by ";", read as a tuple
    "text",
    "whole",  # whole number, held as float so that a blank is NaN
    "number",
    "release",  # version text, see planner.releases
    "date",
    "moment",  # date with time of day
    "choice",  # one of `choices`
    "timezone",  # IANA name
    "window",  # e.g. "Sun 22:00-04:00", several separated by ";"
]

_MOST_WHOLE = 1_000_000_000
_MOST_NUMBER = 10_000_000_000


@dataclass(frozen=True, slots=True)
class Column:
    """One input column, or one setting of the Policy sheet.

    ``default`` is what a blank means: text for people where another setting supplies it
    (``"policy"``), else the value itself, else ``None`` (nothing is assumed). ``least`` and ``most``
    are inclusive unless ``least_excluded``; without ``most`` a number is limited by `highest`.
    """

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    default: str | float | None = None
    required: bool = False
    aliases: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None
    least_excluded: bool = False
    choices: tuple[str, ...] = ()
    example: str | float = ""

    @property
    def highest(self) -> float | None:
        """Greatest number that is read; None where the column holds none.

        Beyond a billion a number is a slip of the keyboard; money may be ten times that. Sums of so many stay exact.
        """
        if self.kind not in ("whole", "number"):
            return None
        return self.most if self.most is not None else _MOST_WHOLE if self.kind == "whole" else _MOST_NUMBER

    @property
    def limits(self) -> str:
        """The limits of a number in words, such as ``above 0 and at most 60000 ms``."""
        least = "" if self.least is None else f"{'above' if self.least_excluded else 'at least'} {plain(self.least)}"
        most = "" if self.highest is None else f"at most {plain(self.highest)}"
        return f"{' and '.join(part for part in (least, most) if part)} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet of the fleet workbook: its name, its columns and whether a fleet needs it."""

    name: str
    meaning: str
    columns: tuple[Column, ...]
    required: bool = False
    aliases: tuple[str, ...] = ()

    def column(self, name: str) -> Column:
        """Return the column called ``name``; KeyError when there is none."""
        return {column.name: column for column in self.columns}[name]

    @property
    def names(self) -> tuple[str, ...]:
        """Canonical column names in the order of the template."""
        return tuple(c.name for c in self.columns)


def plain(number: float) -> str:
    """Write a number without the decimals that it does not have."""
    return str(int(number)) if float(number).is_integer() else repr(number)
