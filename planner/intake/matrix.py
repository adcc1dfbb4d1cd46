"""A matrix of round-trip times, a row for each site and a column for each hub -> rows of pairs."""

from collections.abc import Collection, Sequence
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.columns import LATENCY
from planner.fleet import Floats, typed_table
from planner.intake.cells import clean
from planner.intake.content import identifies
from planner.intake.findings import Findings, show
from planner.intake.headers import header_text, is_usable
from planner.intake.ids import KnownIds, resolve, resolve_column
from planner.intake.layout import Matched
from planner.intake.matched import record_layout, report_unit
from planner.intake.matching import Match
from planner.intake.names import column_of, named, plain, stated_by, without_statement
from planner.intake.norows import without_notes, without_totals
from planner.intake.pairrows import PairRows, categories, doubt_unit, with_plain_numbers, without_zeros
from planner.intake.pinned_columns import pinned_position, stated_by_pins
from planner.intake.rawtable import Cells, RawTable, is_blank, is_empty
from planner.intake.tables import read_matched
from planner.intake.units import NOTHING_STATED, Stated


def is_matrix(table: RawTable, hubs: KnownIds) -> bool:
    """Return whether the sheet has a column for each hub rather than columns for hub and round-trip time."""
    if table.pins is not None and {"hub", "rtt_ms"} & table.pins.columns.keys():
        return False
    if table.pins is not None and table.pins.only:
        return True
    others = [header for header in table.headers if not is_blank(header) and header_text(header) not in hubs.at]
    found = {one.column.name for header in others if (one := named(header, LATENCY.columns)) is not None}
    if found & {"hub", "rtt_ms"}:
        return False
    some_hub = any(_hub_text(header, hubs) for header in table.headers)
    return some_hub or not any(identifies(cells, hubs.at, ()) for cells in table.columns)


def _hub_text(header: object, hubs: KnownIds) -> str:
    """Return the hub, by id or name, that heads a column of a matrix, also beside a unit: ``ESK (ms)``; "" if none."""
    if is_blank(header):
        return ""
    text = header_text(header)
    return next((name for name in (text, without_statement(text)) if name in hubs.at or name in hubs.by_name), "")


def _is_called(cells: Sequence[npt.NDArray[Any]], names: Collection[str], row: int) -> bool:
    return any(str(column[row]) in names for column in cells)


def read_matrix(table: RawTable, sites: KnownIds, hubs: KnownIds, findings: Findings) -> PairRows:
    """Return the pairs of a matrix whose round-trip times are known."""
    table = without_totals(table, findings)
    corner = _site_column(table, hubs, findings)
    table = without_notes(table, [] if corner is None else [corner], findings)
    columns = _hub_columns(table, corner, hubs, findings)
    called = [] if corner is None else [table.columns[corner]]
    table = with_plain_numbers(table, columns)
    for index, at_hub in columns.items():
        names = (header_text(table.headers[index]), hubs.ids[at_hub])
        table = without_zeros(table, index, partial(_is_called, called, names), findings)
    match = Match({} if corner is None else {"site": corner}, {})
    read = read_matched(table, LATENCY, match, findings)
    site = resolve_column(read, "site", sites, findings, "site_unknown")
    read, site = read.only(site >= 0), site[site >= 0]
    record_layout(table, LATENCY, _corner(table, corner), (), findings)
    if not columns and corner is not None:
        wanted = ", ".join(c.name for c in LATENCY.columns if c.required)
        findings.add("matrix_no_hub", table.header_place(corner), columns=wanted)
    rtt_ms: Floats = np.full((len(site), len(columns)), np.nan)
    spec = LATENCY.column("rtt_ms")
    told: set[Stated] = set()
    for at, index in enumerate(columns):
        stated = _stated(read.raw, index, corner)
        if stated not in told:
            told.add(stated)
            report_unit(read.raw, index, spec, stated, findings)
        beyond: dict[int, float] = {}
        rtt_ms[:, at] = clean(Cells(spec, read.raw, index, findings, stated=stated, beyond=beyond))
        for position, bound in beyond.items():
            rtt_ms[position, at] = -bound  # see `pairrows.settled`
    if columns and all(_stated(read.raw, index, corner).unit is None for index in columns):
        doubt_unit(read.raw, next(iter(columns)), rtt_ms, findings)
    rows, at_column = np.nonzero(~np.isnan(rtt_ms))
    site, hub = site[rows], np.array(list(columns.values()), dtype=np.int64)[at_column]
    values = {"site": categories(site, sites), "hub": categories(hub, hubs), "rtt_ms": rtt_ms[rows, at_column]}
    index_of = np.array(list(columns), dtype=np.int64)
    return PairRows(read.raw, typed_table(LATENCY, values), site, hub, rows.astype(np.int64), index_of[at_column])


def _stated(table: RawTable, index: int, corner: int | None) -> Stated:
    """Return the unit and direction that a column of a matrix, a name above it, its corner or its title states."""
    pinned = stated_by_pins(table, LATENCY.column("rtt_ms"))
    if pinned is not None:
        return pinned
    above = (table.groups[index],) if table.groups else ()
    texts = (table.headers[index], *above, "" if corner is None else table.headers[corner], table.title)
    for stated in map(stated_by, texts):
        if stated != NOTHING_STATED and stated.fits(LATENCY.column("rtt_ms")):
            return stated
    return NOTHING_STATED


def _corner(table: RawTable, corner: int | None) -> tuple[Matched, ...]:
    if corner is None:
        return ()
    header = "" if is_blank(table.headers[corner]) else header_text(table.headers[corner])
    return (Matched("site", header, table.header_place(corner).cell.rstrip("0123456789"), "name"),)


def _site_column(table: RawTable, hubs: KnownIds, findings: Findings) -> int | None:
    """Return the column with the site ids: the one that is called so, else a first column that is no hub."""
    if table.pins is not None and "site" in table.pins.columns:
        pinned = pinned_position(table, table.pins.columns["site"])
        if pinned is not None:
            return pinned
    names = ["" if is_blank(header) else header_text(header) for header in table.headers]
    for index, name in enumerate(names):
        column = column_of(without_statement(name), LATENCY)
        if column is not None and column.name == "site" and name not in hubs.at:
            return index
    first = next((i for i, name in enumerate(names) if name or not is_empty(table.columns[i])), None)
    if first is not None and not _hub_text(table.headers[first], hubs):
        findings.add("matrix_corner", table.header_place(first))
        return first
    column = LATENCY.column("site")
    findings.add("column_missing", table.place(), column=column.name, meaning=column.meaning)
    return None


def _doubt_left_out(table: RawTable, index: int, findings: Findings) -> None:
    """Report a column that looks like times, though the mapping does not name it: a hub may have come."""
    from planner.intake.adopt.named_hubs import says_times  # which few fleets need

    header = "" if is_blank(table.headers[index]) else header_text(table.headers[index])
    if table.pins is not None and says_times(header) and not is_empty(table.columns[index]):
        findings.add("times_left_out", table.header_place(index), header=show(header), mapping=table.pins.file)


def _hub_columns(table: RawTable, corner: int | None, hubs: KnownIds, findings: Findings) -> dict[int, int]:
    """Return the position of the hub of each matrix column, by column; other columns become findings."""
    found: dict[int, int] = {}
    asked = None if table.pins is None or not table.pins.hubs else set(map(plain, table.pins.hubs))
    for index, header in enumerate(table.headers):
        if asked is not None and plain(header_text(header)) not in asked:
            _doubt_left_out(table, index, findings)
            continue
        if index == corner or not is_usable(table, index, findings):
            continue
        place = table.header_place(index)
        name = _hub_text(header, hubs) or header_text(header)
        hub = resolve(name, hubs, place, "hub", findings, "hub_column_unknown")
        if hub in found.values():
            letters = ", ".join(table.header_place(i).cell for i, h in [*found.items(), (index, hub)] if h == hub)
            findings.add("column_repeated", place, headers=show(hubs.ids[hub]), letters=letters)
        elif hub >= 0:
            found[index] = hub
    return found
