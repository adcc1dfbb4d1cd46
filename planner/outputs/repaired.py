"""A fleet as a canonical workbook: the sheets, columns and formats of the template, filled with what was read."""

from __future__ import annotations

import dataclasses
import math
import os
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd
from openpyxl.utils import get_column_letter

from planner import columns
from planner.columns import Sheet
from planner.counted_words import counted
from planner.fleet import Fleet
from planner.outputs import cellsafe, headings, styles
from planner.outputs.grid import Book, Field, write_table
from planner.outputs.list_sheets import setting_text
from planner.outputs.template import FORMATS, write_headings
from planner.progress import StateChange
from planner.standing import Assumed, assumed_hosts

_TABLES = (
    (columns.SITES, "sites"),
    (columns.HUBS, "pools"),
    (columns.LATENCY, "latency"),
    (columns.SAMPLES, "samples"),
    (columns.LINKS, "links"),
    (columns.CURRENT, "current"),
    (columns.FREEZES, "freezes"),
    (columns.CHANGES, "changes"),
    (columns.PRICES, "prices"),
)
# A list with more rows than this is written as a matrix where that loses nothing: it is some ten times smaller.
_LONG_LIST = 20_000
_ASSUMED = (
    Field("what", most=40),
    Field("column", most=40),
    Field("assumed", styles.COUNT, least=10),
    Field("in its cell", most=60),
    Field("source", most=80),
)


def write_repaired(fleet: Fleet, path: str | os.PathLike[str]) -> None:
    """Write ``fleet`` to ``path`` so that reading it gives the same fleet, without a repair; an old file is replaced.

    Ids, releases and other text have text format. Blank cells stay blank: defaults are left to the policy. So do counts
    of hosts that were assumed, where reading the file assumes them again; the sheet Assumed lists them. A long list
    of round-trip times without any other figure becomes a matrix, whose rows come in the order of sites and hubs.
    Raises InputError when the file cannot be written or a table has more rows than a sheet holds.
    """
    _book_of(fleet).save(path, "Fleet of two-node clusters")


def write_now(fleet: Fleet, changes: Sequence[StateChange], path: str | os.PathLike[str]) -> None:
    """Write ``fleet`` as `write_repaired` does, with a sheet of the ``changes`` that have made it what it is.

    Raises InputError as `write_repaired` does.
    """
    book = _book_of(fleet)
    fields = (
        *(Field(name, most=40) for name in ("what", "column", "before", "after")),
        Field("done on", styles.DATE, least=12),
        Field("source", most=60),
    )
    write_table(
        book, headings.DONE_SO_FAR, fields, ((c.what, c.column, c.before, c.after, c.on, c.source) for c in changes)
    )
    book.save(path, "Fleet of two-node clusters")


def _book_of(fleet: Fleet) -> Book:
    book = Book()
    assumed = assumed_hosts(fleet)
    again = fleet.pools["pool"].isin([one.pool for one in assumed if one.again])
    pools = fleet.pools.assign(existing_hosts=fleet.pools["existing_hosts"].mask(again))
    for sheet, name in _TABLES:
        table: pd.DataFrame = pools if name == "pools" else getattr(fleet, name)
        if sheet is columns.LATENCY and _as_matrix(table):
            _write_matrix(book, table)
        elif len(table) or sheet.required:
            _write_table(book, sheet, table)
    _write_policy(book, fleet)
    if assumed:
        rows = ((f"pool {one.pool}", "existing_hosts", one.hosts, *_told(one)) for one in assumed)
        write_table(book, headings.ASSUMED, _ASSUMED, rows)
    return book


def _told(assumed: Assumed) -> tuple[str, str]:
    """Return whether the count of hosts stands in its cell, and where it is from."""
    more = assumed.hosts - assumed.named
    hosts = f"{counted(assumed.named, 'named host')}{f', and {more:,} more that its sites fill' if more > 0 else ''}"
    source = f"counted from the sheets Current and Hubs: {hosts}"
    if assumed.again:
        return "blank, and counted again when the file is read", source
    return "written, since the sheets alone would not tell it any more", f"{source}; nobody typed a number"


def _write_table(book: Book, sheet: Sheet, table: pd.DataFrame) -> None:
    page = write_headings(book, sheet)
    known = {column.name: FORMATS.get(column.kind, styles.FILL_IN) for column in sheet.columns}
    own = [str(name) for name in table.columns if name not in known]
    for number, name in enumerate(own, start=len(known) + 1):
        cell = page[f"{get_column_letter(number)}1"]
        cell.style = styles.HEADING
        cellsafe.put(cell, name)
    looks = (*known.values(), *[styles.ANY] * len(own))
    book.append(page, zip(*(_values(table[name]) for name in (*known, *own)), strict=True), looks)


def _values(column: pd.Series[Any]) -> list[cellsafe.Value]:
    if column.name == "rtt_ms":  # infinite where it is only known to exceed a figure
        most = columns.LATENCY.column("rtt_ms").highest or 0.0
        return [f">{most:g}" if math.isinf(value) else cellsafe.plain(value) for value in column.tolist()]
    return [None if value == "" else cellsafe.plain(value) for value in column.astype(object).tolist()]


def _as_matrix(table: pd.DataFrame) -> bool:
    """Return whether round-trip times are many, fill a matrix at least by half, and have nothing beside them."""
    if len(table) <= _LONG_LIST or list(table.columns) != list(columns.LATENCY.names):
        return False
    others = table.drop(columns=["site", "hub", "rtt_ms"])
    cells = table["site"].nunique() * table["hub"].nunique()
    return bool(
        np.isfinite(table["rtt_ms"].to_numpy()).all() and others.isna().all(axis=None) and len(table) * 2 >= cells
    )


def _write_matrix(book: Book, table: pd.DataFrame) -> None:
    page = book.new_sheet(columns.LATENCY.name)
    site, sites = pd.factorize(table["site"].astype(str).to_numpy(dtype=object))
    hub, hubs = pd.factorize(table["hub"].astype(str).to_numpy(dtype=object))
    rtt_ms = np.full((len(sites), len(hubs)), np.nan)
    rtt_ms[site, hub] = table["rtt_ms"].to_numpy(dtype=np.float64)
    book.append(page, [("site", *hubs)], [styles.HEADING] * (1 + len(hubs)))
    rows = ((name, *map(cellsafe.plain, row)) for name, row in zip(sites, rtt_ms.tolist(), strict=True))
    book.append(page, rows, (styles.FILL_IN, *[styles.FILL_IN_NUMBER] * len(hubs)))
    page.freeze_panes = "B2"


def _write_policy(book: Book, fleet: Fleet) -> None:
    page = write_headings(book, columns.POLICY)
    book.append(page, _settings(fleet), (styles.TEXT, styles.FILL_IN))
    page.column_dimensions["A"].width, page.column_dimensions["B"].width = 26, 20


def _settings(fleet: Fleet) -> Iterator[tuple[str, cellsafe.Value]]:
    """Yield every setting that has a value, defaults included: a later version's defaults may be others."""
    for name, value in dataclasses.asdict(fleet.policy).items():
        written = setting_text(value)
        if written is not None:
            yield name, written
