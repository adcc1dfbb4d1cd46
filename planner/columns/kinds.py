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


@dataclass(frozen=True, slots=True)
class Column:
    """One input column, or one setting of the Policy sheet.

    ``default`` is what a blank means: text for people where another setting supplies it
    (``"policy"``), else the value itself, else ``None`` (nothing is assumed). ``least`` and ``most``
    are inclusive unless ``least_excluded``.
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
