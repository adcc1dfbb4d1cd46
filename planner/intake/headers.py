"""A raw sheet -> the table on it: the header, in one row or two and wherever it stands, and the rows below it."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from planner.columns import LATENCY, Column, Sheet
from planner.fleet import Ints
from planner.intake.findings import Findings, show
from planner.intake.layout import Range, SheetPins
from planner.intake.names import is_statement, named, plain, without_statement
from planner.intake.rawtable import RawSheet, RawTable, broken, is_blank, is_empty, tidy

# The header is looked for in this many rows from the top: titles and notes may stand above it.
_HEADER_WITHIN = 10
_SHOWN = 3
NO_IDS: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Head:
    """The header of a table: its first row, from 0, how many rows it has, its names, and what stands above them."""

    row: int
    rows: int
    names: tuple[Any, ...]
    groups: tuple[str, ...] = ()

    @property
    def last(self) -> int:
        """Its last row, from 0."""
        return self.row + self.rows - 1


def table_of(
    raw: RawSheet,
    sheet: Sheet,
    findings: Findings,
    ids: Collection[str] = NO_IDS,
    pins: SheetPins | None = None,
    within: tuple[int, int] | None = None,
) -> RawTable:
    """Return the rows below the header as columns; blank rows are left out, and row numbers kept.

    The header is the row near the top, or the two rows, that name most columns of ``sheet`` (``ids`` are names of
    further columns, those of a matrix), else the first row that is not blank. ``within`` limits it to some rows.
    """
    start, stop = within or (0, len(raw.cells))
    filled = [i for i in range(start, stop) if not all(map(is_blank, raw.cells[i]))]
    near_top = filled[:_HEADER_WITHIN]
    if pins is not None:
        ids = {*ids, *_pinned_names(raw, pins, near_top)}
    head = _pinned_head(raw, pins, sheet.columns, ids) or find_head(raw, sheet.columns, near_top, ids)
    return table_below(raw, head, filled, pins, findings)


def table_below(raw: RawSheet, head: Head, filled: list[int], pins: SheetPins | None, findings: Findings) -> RawTable:
    """Return the table below ``head`` in the rows ``filled``, from 0, of a sheet."""
    body = [i for i in filled if i > head.last]
    body = _without_headers_again(raw, head, body, findings)
    width = max((len(raw.cells[i]) for i in (head.row, *body)), default=0) if filled else 0
    width = max(width, len(head.names))
    cells = np.full((len(body), width), "", dtype=object)
    for position, i in enumerate(body):
        row = raw.cells[i]
        cells[position, : len(row)] = row
    _fill_merged(raw, head.last + 2, body, cells, findings)
    names = (*head.names, *[""] * width)[:width] if filled else ()
    rows: Ints = np.array(body, dtype=np.int64) + 1
    table = RawTable(raw.file, raw.title, names, tuple(cells.T), rows, head.last + 1, raw.looks, raw.text_only)
    table = table.with_head(head.rows, head.groups, pins)
    _report(raw, table, head, filled, findings)
    return table


def find_head(raw: RawSheet, columns: tuple[Column, ...], candidates: Sequence[int], ids: Collection[str]) -> Head:
    """Return the header among the rows ``candidates``: the first of those that name most columns."""
    best, most = Head(candidates[0] if candidates else 0, 1, tuple(raw.cells[candidates[0]]) if candidates else ()), 0
    for i in candidates:
        one = Head(i, 1, tuple(raw.cells[i]))
        score = _score(one.names, columns, ids)
        if score > most:
            best, most = one, score
        if i + 1 in candidates and _may_be_lower(raw.cells[i + 1], ids):
            two = _joined(raw, i, columns, ids)
            score = _score(two.names, columns, ids)
            single = max(_score(raw.cells[k], columns, ids) for k in (i, i + 1))
            units_below = all(is_blank(cell) or is_statement(cell) for cell in raw.cells[i + 1])
            if score > max(most, single) or (units_below and score and score >= most):
                best, most = two, score
    return best


def _score(names: Sequence[Any], columns: tuple[Column, ...], ids: Collection[str]) -> int:
    found = [named(name, columns) for name in names]
    others = [name for name, known in zip(names, found, strict=True) if known is None] if ids else []
    of_ids = {without_statement(header_text(name)) for name in others}
    return len({known.column.name for known in found if known is not None}) + len(of_ids & set(ids))


def _may_be_lower(row: Sequence[Any], ids: Collection[str]) -> bool:
    return all(isinstance(cell, str) or header_text(cell) in ids for cell in row)


def _joined(raw: RawSheet, i: int, columns: tuple[Column, ...], ids: Collection[str]) -> Head:
    """Return rows i and i + 1 as one header: a name above spreads over the merged or blank cells beside it."""
    width = max(len(raw.cells[i]), len(raw.cells[i + 1]))
    upper, lower = ([*raw.cells[k], *[""] * width][:width] for k in (i, i + 1))
    spread: list[str] = []
    for above, below in zip(upper, lower, strict=True):
        own = tidy(above) if isinstance(above, str) else ""
        spread.append(own or (spread[-1] if spread and not is_blank(below) and is_blank(above) else ""))
    names: list[Any] = []
    for above, group, below in zip(upper, spread, lower, strict=True):
        both = f"{group} {header_text(below)}".strip() if not is_blank(below) else group
        if is_blank(below):
            names.append(above)
        elif header_text(below) in ids or not group:
            names.append(below)
        elif named(both, columns) is not None or is_statement(below):
            names.append(both)
        else:
            several = spread.count(group) > 1
            names.append(below if named(below, columns) is not None or several else both)
    return Head(i, 2, tuple(names), tuple(spread))


def _pinned_head(
    raw: RawSheet, pins: SheetPins | None, columns: tuple[Column, ...], ids: Collection[str]
) -> Head | None:
    if pins is None or not 0 < pins.header_row <= len(raw.cells):
        return None
    i = pins.header_row - 1
    if pins.header_rows == 2 and i + 1 < len(raw.cells):
        return _joined(raw, i, columns, ids)
    return Head(i, 1, tuple(raw.cells[i]))


def _pinned_names(raw: RawSheet, pins: SheetPins, rows: Sequence[int]) -> set[str]:
    """Return the texts in ``rows`` that a mapping says are headers."""
    asked = {plain(header) for header in pins.columns.values() if not header.startswith("=")}
    texts = {header_text(cell) for i in rows for cell in raw.cells[i] if not is_blank(cell)}
    return {text for text in texts if plain(text) in asked}


def _without_headers_again(raw: RawSheet, head: Head, body: list[int], findings: Findings) -> list[int]:
    """Return the rows without those that repeat the header, as printed lists do on each page."""
    names = [plain(name) if isinstance(name, str) else "" for name in raw.cells[head.last]] if raw.cells else []
    first = next((k for k, name in enumerate(names) if name), None)
    if first is None or sum(map(bool, names)) < 2:
        return body
    again, mark = [], str(raw.cells[head.last][first]).strip().casefold()
    for i in body:
        row = raw.cells[i]
        if len(row) > first and isinstance(row[first], str) and row[first].strip().casefold() == mark:
            texts = [plain(cell) if isinstance(cell, str) else header_text(cell) for cell in row]
            if [*texts, *[""] * len(names)][: len(names)] == names:
                again.append(i)
                findings.add("header_again", raw.place(i + 1))
    return [i for i in body if i not in again] if again else body


def _fill_merged(raw: RawSheet, first_row: int, body: list[int], cells: Any, findings: Findings) -> None:
    """Give every cell of a merged range of data the value of its first cell, in place."""
    ranges = [area for area in raw.merged if area.last_row >= first_row]
    if not ranges:
        return
    at = {row: position for position, row in enumerate(body)}
    filled = []
    for area in ranges:
        value = raw.cells[area.first_row - 1][area.first_column - 1] if _holds(raw, area) else ""
        rows = [at[i] for i in range(max(area.first_row, first_row) - 1, area.last_row) if i in at]
        if is_blank(value) or not rows:
            continue
        for position in rows:
            for column in range(area.first_column - 1, min(area.last_column, cells.shape[1])):
                if is_blank(cells[position, column]):
                    cells[position, column] = value
        filled.append(area)
    if filled:
        more = f" and {len(filled) - _SHOWN} more" if len(filled) > _SHOWN else ""
        findings.add("merged_cells", raw.place(), ranges=", ".join(map(str, filled[:_SHOWN])) + more)


def _holds(raw: RawSheet, area: Range) -> bool:
    return area.first_row <= len(raw.cells) and area.first_column <= len(raw.cells[area.first_row - 1])


def _report(raw: RawSheet, table: RawTable, head: Head, filled: list[int], findings: Findings) -> None:
    if filled and filled[0] < head.row:
        findings.add("rows_above", table.place(), row=head.row + 1)
    if head.rows > 1:
        findings.add("header_two_rows", table.place(), rows=f"{head.row + 1} and {head.last + 1}")
    hidden = raw.hidden
    if hidden.sheet:
        findings.add("sheet_hidden", raw.place())
    used = set(table.rows.tolist())
    rows = [row for row in hidden.rows if row in used]
    if rows:
        findings.add("rows_hidden", raw.place(), rows=_listed(rows))
    names = [raw.place(0, column).cell for column in hidden.columns if column <= len(table.headers)]
    if names:
        findings.add("columns_hidden", raw.place(), columns=", ".join(names[:10]))


def _listed(rows: list[int]) -> str:
    """Return row numbers as runs, such as ``3, 7-9``."""
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][1] + 1:
            runs[-1][1] = row
        else:
            runs.append([row, row])
    texts = [f"{first}-{last}" if last > first else str(first) for first, last in runs]
    return ", ".join(texts[:10]) + (f" and {len(texts) - 10} more" if len(texts) > 10 else "")


def header_text(header: object) -> str:
    """Return a header as text: whole floats, as spreadsheets store numbers, without their fraction."""
    return tidy(header) if isinstance(header, str) else show(header)


def is_usable(table: RawTable, position: int, findings: Findings) -> bool:
    """Return whether a column has a header; one that has values without it becomes a finding."""
    header = table.headers[position]
    trouble = broken(header)
    if trouble is not None:
        value = f"the error {trouble.text}" if trouble.kind == "error" else "a formula whose result was never saved"
        findings.add("header_broken", table.header_place(position), value=value)
        return False
    if not is_blank(header):
        return True
    if not is_empty(table.columns[position]):
        findings.add("header_blank", table.header_place(position))
    return False


def is_matrix_head(names: Sequence[Any], ids: Collection[str]) -> bool:
    """Return whether a header is that of a matrix: some hub ids, and no columns for hub and round-trip time."""
    others = [name for name in names if not is_blank(name) and header_text(name) not in ids]
    columns = {found.column.name for name in others if (found := named(name, LATENCY.columns)) is not None}
    return (
        len(others) <= len(names) - 1 and not columns & {"hub", "rtt_ms"} and any(header_text(n) in ids for n in names)
    )
