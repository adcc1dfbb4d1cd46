"""The tables of a sheet, told by their headers alone: one above the other, and side by side."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from planner.columns import CURRENT, HUBS, LATENCY, LINKS, POLICY, SHEETS, SITES, Sheet
from planner.intake.findings import show
from planner.intake.headers import find_head, is_matrix_head
from planner.intake.names import named, plain, sheet_of
from planner.intake.rawtable import RawSheet, is_blank, tidy

# Headers of so few columns could be those of anything; more are asked for where no title says what a table is.
_LEAST_COLUMNS = {SITES.name: 2, HUBS.name: 2, LATENCY.name: 3, CURRENT.name: 3, LINKS.name: 3, POLICY.name: 2}
_USUAL_LEAST = 3
_HEADERS_LOOKED_AT = 3


@dataclass(frozen=True)
class Part:
    """A table on a sheet: rows ``within`` (from 0, the end excluded) of ``raw``, whose title may not name it."""

    sheet: Sheet
    raw: RawSheet
    within: tuple[int, int]
    titled: bool


def parts_of(raw: RawSheet, ids: Collection[str]) -> Iterator[Part]:
    """Yield the tables of a sheet whose headers tell what they are, from the top, those side by side one by one."""
    starts: list[tuple[int, list[tuple[Sheet, tuple[int, int]]]]] = []
    above_blank, seen = True, set[tuple[str, ...]]()
    for i, row in enumerate(raw.cells):
        if all(map(is_blank, row)):
            above_blank = True
            continue
        if above_blank:
            head, kinds = _kinds_at(raw, i, ids)
            texts = (*(sheet.name for sheet, _ in kinds), *(plain(cell) for cell in raw.cells[head]))
            # A header again, as on each printed page or below its title and a blank row, begins no other table.
            if kinds and texts not in seen:
                starts.append((i, kinds))
                seen.add(texts)
        above_blank = False
    for number, (start, kinds) in enumerate(starts):
        stop = starts[number + 1][0] if number + 1 < len(starts) else len(raw.cells)
        for sheet, columns in kinds:
            part = raw if len(kinds) == 1 else _only_columns(raw, columns)
            yield Part(sheet, part, (0 if number == 0 and len(kinds) == 1 else start, stop), False)


def _kinds_at(raw: RawSheet, i: int, ids: Collection[str]) -> tuple[int, list[tuple[Sheet, tuple[int, int]]]]:
    """Return the row of the header near row ``i``, and what tables it begins, with the columns of each."""
    title = [cell for cell in raw.cells[i] if not is_blank(cell)]
    for k in range(i, min(i + _HEADERS_LOOKED_AT, len(raw.cells))):
        row = raw.cells[k]
        if not all(isinstance(cell, str) or _text(cell) in ids for cell in row if not is_blank(cell)):
            return i, []
        runs = list(_runs(row))
        kinds = [(kind, run) for run in runs if (kind := _kind(row[run[0] : run[1]], ids)) is not None]
        if len({kind.name for kind, _ in kinds}) > 1:
            return k, kinds
        whole = _kind(row, ids)
        if whole is not None:
            return k, [(whole, (0, len(row)))]
        named_by_title = sheet_of(title[0]) if len(title) == 1 and isinstance(title[0], str) and k > i else None
        if named_by_title is not None and find_head(raw, named_by_title.columns, [k], ids).names:
            required = {c.name for c in named_by_title.columns if c.required}
            if required <= {f.column.name for c in row if (f := named(c, named_by_title.columns)) is not None}:
                return k, [(named_by_title, (0, len(row)))]
    return i, []


def _text(cell: Any) -> str:
    return tidy(cell) if isinstance(cell, str) else show(cell)


def _runs(row: Sequence[Any]) -> Iterator[tuple[int, int]]:
    """Yield the runs of cells that are not blank."""
    start = None
    for position, cell in enumerate([*row, ""]):
        if is_blank(cell):
            if start is not None:
                yield start, position
            start = None
        elif start is None:
            start = position


def _kind(names: Sequence[Any], ids: Collection[str]) -> Sheet | None:
    """Return the sheet whose columns a header names, the one that it names most of; None if it is no header."""
    if ids and is_matrix_head(names, ids):
        return LATENCY
    best, most = None, 0
    for sheet in SHEETS:
        found = {f.column.name for name in names if (f := named(name, sheet.columns)) is not None}
        needed = {column.name for column in sheet.columns if column.required}
        least = max(_LEAST_COLUMNS.get(sheet.name, _USUAL_LEAST), len(needed))
        if needed <= found and len(found) >= least and len(found) > most:
            best, most = sheet, len(found)
    return best


def _only_columns(raw: RawSheet, columns: tuple[int, int]) -> RawSheet:
    """Return the sheet with every cell outside some columns blank, so that addresses stay what they are."""
    first, last = columns
    cells = [[*[""] * first, *row[first:last]] if len(row) > first else [] for row in raw.cells]
    return replace(raw, cells=cells)
