"""What a person chose while bringing a fleet: answers, columns, corrected cells. Plain data, in the workspace."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from openpyxl.utils import column_index_from_string

from planner.intake.layout import Pins, SheetPins
from planner.intake.rawtable import RawSheet


@dataclass(frozen=True)
class Found:
    """Where a sheet of the fleet was found: ``columns`` lead from letters to canonical names, ``headers`` to texts."""

    title: str
    header_row: int
    header_rows: int
    columns: Mapping[str, str]
    headers: Mapping[str, str]


_CELL = re.compile(r"([A-Z]{1,3})?(\d{1,7})")
_MOST = 100_000


@dataclass(frozen=True)
class Choices:
    """``answers`` to the questions of adopting, by key. ``columns`` lead from a sheet of the fleet and a letter to the
    canonical column that stands there, blank for none. ``cells`` lead from file, sheet title and cell to its new text;
    from a row to blank, which leaves the row out. ``mapping`` is the text of a mapping file that was given.
    """

    answers: Mapping[str, str] = field(default_factory=dict)
    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    cells: Mapping[str, str] = field(default_factory=dict)
    mapping: str = ""

    @classmethod
    def of(cls, plain: Any) -> Choices:
        """Return the choices that ``plain`` data say; what is no choice counts as none."""
        known = plain if isinstance(plain, dict) else {}
        columns = {sheet: _texts(found) for sheet, found in _dict(known.get("columns")).items()}
        return cls(_texts(known.get("answers")), columns, _texts(known.get("cells")), str(known.get("mapping") or ""))


def _dict(value: Any) -> dict[str, Any]:
    return {str(k): v for k, v in list(value.items())[:_MOST]} if isinstance(value, dict) else {}


def _texts(value: Any) -> dict[str, str]:
    return {key: str(text) for key, text in _dict(value).items()}


def cell_key(file: str, title: str, cell: str) -> str:
    """Return how a cell, or a row by its number, is called among the choices."""
    return "\n".join((file, title, cell))


def corrected(sheets: Iterable[RawSheet], cells: Mapping[str, str]) -> list[RawSheet]:
    """Return the sheets with the cells that a person corrected; cells that are not there are left alone."""
    by_sheet: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for key, text in cells.items():
        file, _, rest = key.partition("\n")
        title, _, cell = rest.rpartition("\n")
        by_sheet.setdefault((file, title), []).append((cell, text))
    return [_corrected(raw, by_sheet.get((raw.file, raw.title), [])) for raw in sheets]


def _corrected(raw: RawSheet, changes: list[tuple[str, str]]) -> RawSheet:
    if not changes:
        return raw
    rows = [list(row) for row in raw.cells]
    for cell, text in changes:
        match = _CELL.fullmatch(cell)
        if match is None or not 1 <= int(match[2]) <= len(rows):
            continue
        row = rows[int(match[2]) - 1]
        if match[1] is None:
            row[:] = [""] * len(row)
        elif (at := column_index_from_string(match[1]) - 1) < len(row):
            row[at] = text
    return replace(raw, cells=rows)


def with_columns(pins: Pins, chosen: Mapping[str, Mapping[str, str]], found: Mapping[str, Found]) -> Pins:
    """Return ``pins`` with the columns that a person chose; ``found`` says where each sheet was found without them."""
    made = dict(pins)
    for sheet, letters in chosen.items():
        if sheet in found and letters:
            made[sheet] = _with_columns(made.get(sheet, SheetPins()), letters, found[sheet])
    return made


def _with_columns(base: SheetPins, letters: Mapping[str, str], found: Found) -> SheetPins:
    """Return pins in which each letter is what was chosen, and nothing that it was taken for before."""
    columns = {name: f"={letter}" for letter, name in found.columns.items() if letter not in letters}
    chosen = {name: f"={letter}" for letter, name in letters.items() if name}
    none = [found.headers.get(letter, "") for letter, name in letters.items() if not name]
    return replace(
        base,
        title=base.title or found.title,
        header_row=base.header_row or found.header_row,
        header_rows=base.header_rows or found.header_rows,
        columns={**{name: text for name, text in columns.items() if name not in chosen}, **chosen},
        ignore=(*base.ignore, *(header for header in none if header)),
    )
