"""Tables where a mapping says that they are: by the row of the header, and where that has moved, by its words."""

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from openpyxl.utils import column_index_from_string

from planner.columns import SETTINGS, Sheet
from planner.intake.adopt.block import Block, joined_names
from planner.intake.adopt.blocks import blocks_of
from planner.intake.findings import Findings, Place, show
from planner.intake.headers import Head, header_text, table_below
from planner.intake.layout import SheetPins
from planner.intake.names import plain
from planner.intake.pinned_columns import pinned_position
from planner.intake.rawtable import SHEET_STEP, LooksOfSheets, RawSheet, RawTable, is_blank, tidy

_FIGURE = re.compile(r"\d{1,9}(\.\d{1,9})?", re.ASCII)


def pinned_table(raws: Sequence[RawSheet], pins: SheetPins, findings: Findings) -> RawTable | None:
    """Return the table that ``pins`` describe, with the rows of further sheets; None, with a finding, if it is gone."""
    tables = []
    for title in (pins.title, *pins.also):
        raw = next((one for one in raws if plain(one.title) == plain(title)), None)
        block = None if raw is None else _block(raw, pins)
        if raw is None or block is None:
            code = "mapping_sheet" if raw is None else "mapping_gone"
            headers = ", ".join(map(show, pins.columns.values()))
            place = Place(pins.file) if raw is None else raw.place(pins.header_row)
            findings.add(code, place, title=show(title), sheet=pins.title, headers=headers, mapping=pins.file)
            continue
        tables.append(_table(block, pins, findings))
    if not tables:
        return None
    whole = _joined(tables)
    return _turned(whole) if pins.hubs_down else whole


def _block(raw: RawSheet, pins: SheetPins) -> Block | None:
    """Return the table of a sheet that has the pinned headers, the one at the pinned row before all others."""
    having = [block for block in blocks_of(raw) if _has_headers(block, pins)]
    at_row = [b for b in having if b.row == pins.header_row - 1]
    return next(iter(at_row or having), None) or _as_stated(raw, pins)


def _as_stated(raw: RawSheet, pins: SheetPins) -> Block | None:
    """Return the table below the pinned row, where its shape does not show that it is one; None if it is not there."""
    first, rows = pins.header_row - 1, max(pins.header_rows, 1)
    if not 0 <= first < len(raw.cells):
        return None
    names, groups = joined_names(raw.cells[first : first + rows])
    block = Block(raw, first, rows, (0, len(names)), len(raw.cells), tuple(names), tuple(groups))
    return block if names and _has_headers(block, pins) else None


def _has_headers(block: Block, pins: SheetPins) -> bool:
    names = {plain(name) for name in block.names}
    first, last = block.columns
    for header in pins.columns.values():
        if header.startswith("="):
            if not first <= column_index_from_string(header[1:].upper()) - 1 < last:
                return False
        elif plain(header) not in names:
            return False
    return block.header_rows == max(pins.header_rows, 1) or any(not h.startswith("=") for h in pins.columns.values())


def _table(block: Block, pins: SheetPins, findings: Findings) -> RawTable:
    first, last = block.columns
    cells = [[*[""] * first, *row[first:last]] for row in block.raw.cells]
    raw = replace(block.raw, cells=cells)
    before: list[Any] = [""] * first
    head = Head(block.row, block.header_rows, (*before, *block.names), ("",) * first + block.groups)
    filled = [*range(block.row, block.row + block.header_rows), *block.body]
    return table_below(raw, head, filled, pins, findings)


def _joined(tables: Sequence[RawTable]) -> RawTable:
    """Return tables of one header as one; rows know their sheets by `SHEET_STEP`."""
    first, *more = tables
    if not more:
        return first
    rows = np.concatenate([table.rows + k * SHEET_STEP for k, table in enumerate(tables)])
    width = len(first.columns)
    orders = [_order(first, table) for table in tables]
    columns = tuple(
        np.concatenate([table.columns[order[c]] for table, order in zip(tables, orders, strict=True)])
        for c in range(width)
    )
    looks = LooksOfSheets(tuple(table.looks for table in tables))
    also = tuple(table.title for table in more)
    return replace(first, headers=first.headers[:width], columns=columns, rows=rows, looks=looks, also=also)


def _order(first: RawTable, table: RawTable) -> list[int]:
    """Return where the columns of ``first`` stand in another table of the same headers."""
    names = [plain(header_text(name)) for name in table.headers]
    wanted = [plain(header_text(name)) for name in first.headers]
    last = len(names) - 1
    return [names.index(name) if name and name in names else min(c, last) for c, name in enumerate(wanted)]


def _turned(table: RawTable) -> RawTable:
    """Return a matrix with hubs down as one with hubs across: a row for each column of the sheet but the first."""
    assert table.pins is not None
    corner = next((c for c, name in enumerate(table.headers) if _is_corner(table, c, name)), 0)
    across = [c for c, name in enumerate(table.headers) if c > corner and not is_blank(name)]
    heads = [header_text(value) for value in table.columns[corner].tolist()]
    cells = np.array([table.columns[c] for c in across], dtype=object).reshape(len(across), len(heads))
    sites = np.array([table.headers[c] for c in across], dtype=object)
    labels = tuple(table.place(None, c).where for c in across)
    # Times in seconds or one way are stated by the mapping; what a spreadsheet shows of a number no longer counts.
    return RawTable(
        table.file,
        table.title,
        ("site", *heads),
        (sites, *cells.T),
        np.arange(len(across), dtype=np.int64) + 1,
        table.header_row,
        text_only=table.text_only,
        labels=labels,
        pins=replace(table.pins, columns={}),
    )


def _is_corner(table: RawTable, column: int, name: Any) -> bool:
    assert table.pins is not None
    wanted = table.pins.columns.get("hub", "")
    if wanted.startswith("="):
        return column_index_from_string(wanted[1:].upper()) - 1 == column
    return bool(wanted) and plain(name) == plain(wanted)


def pinned_settings(raws: Sequence[RawSheet], pins: SheetPins, findings: Findings) -> RawTable:
    """Return the labels and values that a mapping names, and the settings that it gives itself, as a table."""
    labels: list[Any] = []
    values: list[Any] = []
    places: list[str] = []
    raw = next((one for one in raws if pins.title and plain(one.title) == plain(pins.title)), None)
    if raw is None and pins.title:
        findings.add("mapping_sheet", Place(pins.file), title=show(pins.title), sheet="Policy")
    named = {plain(label): setting for setting, label in pins.settings.items()}
    found = set()
    at, beside = (column_index_from_string(letter) - 1 for letter in (pins.labels or "A", pins.values or "B"))
    for i, row in enumerate(raw.cells) if raw is not None else ():
        assert raw is not None
        label = tidy(str(row[at])) if len(row) > at and isinstance(row[at], str) else ""
        if label and plain(label) in named and plain(label) not in found:
            found.add(plain(label))
            labels.append(label)
            values.append(_as_shown(raw, i + 1, beside + 1, row[beside] if len(row) > beside else ""))
            places.append(raw.place(i + 1, beside + 1).where)
    for label in sorted(named.keys() - found) if raw is not None else ():
        assert raw is not None
        findings.add("mapping_label", raw.place(), label=show(pins.settings[named[label]]), mapping=pins.file)
    for setting, value in pins.given.items():
        if is_blank(value):  # asked for, and left open
            continue
        labels.append(setting)
        values.append(_as_figure(setting, value))
        places.append(f"[Policy.given] {setting}" if raw is None else f"{pins.file} [Policy.given] {setting}")
    columns = tuple(np.array([*cells, None], dtype=object)[:-1] for cells in (labels, values))
    rows = np.arange(len(labels), dtype=np.int64) + 1
    file = pins.file if raw is None else raw.file
    return RawTable(file, pins.title or "Policy", ("setting", "value"), columns, rows, labels=tuple(places), pins=pins)


def listed_table(sheet: Sheet, pins: SheetPins, findings: Findings) -> RawTable:
    """Return the rows that a mapping lists by their ids, as a table of ``sheet``."""
    findings.add("mapping_listed", Place(pins.file), sheet=sheet.name, ids=", ".join(pins.listed))
    ids = np.array([*pins.listed, None], dtype=object)[:-1]
    rows = np.arange(len(ids), dtype=np.int64) + 1
    labels = tuple(f"[{sheet.name}] listed {show(each)}" for each in pins.listed)
    key = sheet.columns[0].name
    return RawTable(pins.file, sheet.name, (key,), (ids,), rows, text_only=True, labels=labels)


def _as_figure(setting: str, value: Any) -> Any:
    """Return a value of a mapping as a number where its setting is one: a mapping writes all of them as text."""
    column = next(column for column in SETTINGS if column.name == setting)
    is_figure = column.kind in ("number", "whole") and _FIGURE.fullmatch(str(value)) is not None
    return float(value) if is_figure else value


def _as_shown(raw: RawSheet, row: int, column: int, value: Any) -> Any:
    """Return a number as the sheet shows it: in percent, and a version with all its decimals."""
    if not isinstance(value, float):
        return value
    if raw.looks.percent(row, column):
        return round(value * 100.0, 9)
    return raw.looks.shown(row, column, value) or value


def with_units(table: RawTable, findings: Findings) -> RawTable:
    """Return a table of times whose unit stands in a column of its own, with the unit behind each time."""
    pins = table.pins
    if pins is None or not pins.unit_column:
        return table
    unit = pinned_position(table, pins.unit_column)
    header = pins.columns.get("rtt_ms", "rtt_ms")
    time = pinned_position(table, header)
    if unit is None or time is None:
        missing = show(pins.unit_column if unit is None else header)
        findings.add("mapping_header", table.place(), column="unit_column", header=missing, mapping=pins.file)
        return table
    cells = [
        value if is_blank(value) or is_blank(said) or value != value else f"{header_text(value)} {tidy(str(said))}"
        for value, said in zip(table.columns[time].tolist(), table.columns[unit].tolist(), strict=True)
    ]
    column = np.array([*cells, None], dtype=object)[:-1]
    return replace(table, columns=(*table.columns[:time], column, *table.columns[time + 1 :]))


def without_settings(table: RawTable, pins: SheetPins | None) -> RawTable:
    """Return a table without the rows below it that hold settings, which are read as such."""
    if pins is None or not pins.settings or plain(pins.title) != plain(table.title) or table.labels:
        return table
    at = column_index_from_string(pins.labels or "A") - 1
    labels = {plain(label) for label in pins.settings.values()}
    if at >= len(table.columns):
        return table
    keep = np.array(
        [not (isinstance(v, str) and plain(v) in labels) for v in table.columns[at].tolist()], dtype=np.bool_
    )
    return table.only(keep)


def unread_tables(raw: RawSheet, used: Sequence[RawTable]) -> list[Block]:
    """Return the tables of a sheet whose header is not that of any table in ``used``."""
    heads = {table.header_row for table in used if raw.title in (table.title, *table.also)}
    return [b for b in blocks_of(raw) if b.width > 1 and b.body and b.row + b.header_rows not in heads]
