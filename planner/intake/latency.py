"""The Latency sheet, as a list of pairs or as a matrix, and the Samples sheet -> tables with ids as categories."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.columns import LATENCY, SAMPLES
from planner.fleet import Bools, Floats, Ints, typed_table
from planner.intake.cells import clean
from planner.intake.content import identifies
from planner.intake.directions import TOLERANCE, differences, mirrors, turned
from planner.intake.findings import Findings, Place, show
from planner.intake.headers import header_text, is_usable
from planner.intake.ids import KnownIds, resolve, resolve_column
from planner.intake.layout import Matched
from planner.intake.matching import Match, match_headers, record_layout, report_unit
from planner.intake.names import column_of, named, stated_by, without_statement
from planner.intake.rawtable import Cells, RawTable, is_blank, is_empty
from planner.intake.tables import TypedSheet, read_matched, read_table, without_totals
from planner.intake.units import NOTHING_STATED, Stated

# So few times tell nothing about their unit.
_ENOUGH = 3
_FIGURES = ("rtt_ms", "loss_percent", "pair_cost")


@dataclass(frozen=True)
class PairRows:
    """Rows of pairs: positions of site and hub, and the row and column, from 0, of the raw table they come from."""

    raw: RawTable
    frame: pd.DataFrame
    site: Ints
    hub: Ints
    row: Ints
    column: Ints
    turned: Bools | None = None  # rows that came from the other end of the path

    def place(self, position: int) -> Place:
        """Return the cell of a pair's round-trip time."""
        return self.raw.place(int(self.row[position]), int(self.column[position]))

    def only(self, keep: npt.NDArray[np.bool_]) -> "PairRows":
        """Return a copy with the rows that the mask ``keep`` selects."""
        frame = self.frame if keep.all() else self.frame[keep].reset_index(drop=True)
        turned = None if self.turned is None else self.turned[keep]
        return PairRows(self.raw, frame, self.site[keep], self.hub[keep], self.row[keep], self.column[keep], turned)


def is_matrix(table: RawTable, hubs: KnownIds) -> bool:
    """Return whether the sheet has a column for each hub rather than columns for hub and round-trip time."""
    if table.pins is not None and {"hub", "rtt_ms"} & table.pins.columns.keys():
        return False
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


def read_latency(table: RawTable, sites: KnownIds, hubs: KnownIds, findings: Findings) -> PairRows:
    """Return the rows of known pairs that state something; of a pair that is there twice, the first.

    A path that was measured from both ends has the larger of the two figures, on either row.
    """
    read = _matrix if is_matrix(table, hubs) else _pairs
    rows = read(table, sites, hubs, findings)
    figures = rows.frame[list(_FIGURES)].to_numpy(dtype=np.float64)
    rows = rows.only(~np.isnan(figures).all(axis=1))
    rows = _agreed(rows, sites, hubs, findings)
    return rows.only(~_repeated(rows, sites, hubs, findings))


def read_samples(table: RawTable, sites: KnownIds, hubs: KnownIds, findings: Findings) -> PairRows:
    """Return the probes of known pairs; a lost one has a blank round-trip time."""
    return _pair_rows(read_table(table, SAMPLES, findings, _known(sites, hubs)), sites, hubs, findings)


def _known(sites: KnownIds, hubs: KnownIds) -> dict[str, tuple[str, ...]]:
    return {"site": sites.ids, "hub": hubs.ids}


def _pairs(table: RawTable, sites: KnownIds, hubs: KnownIds, findings: Findings) -> PairRows:
    table = without_totals(table, findings)
    required = [column for column in LATENCY.columns if column.required]
    match = match_headers(table, LATENCY, findings, required, _known(sites, hubs))
    at = match.known
    if "rtt_ms" in at:
        ends = [table.columns[at[name]] for name in ("site", "hub") if name in at]
        table = _without_zeros(table, at["rtt_ms"], partial(_is_one_place, ends), findings)
    read = read_matched(table, LATENCY, match, findings)
    if "rtt_ms" in read.match.known:
        index = read.match.known["rtt_ms"]
        _doubt(read.raw, index, read.frame["rtt_ms"].to_numpy(dtype=np.float64), findings)
    return _pair_rows(read, sites, hubs, findings)


def _doubt(table: RawTable, index: int, rtt_ms: Floats, findings: Findings) -> None:
    """Ask whether times are seconds where no header says that they are ms and all are below 1."""
    given = rtt_ms[~np.isnan(rtt_ms)]
    header = table.headers[index] if column_of(table.headers[index], LATENCY) is not None else ""
    if len(given) >= _ENOUGH and given.max() < 1.0 and stated_by(header).unit is None:
        findings.add("unit_doubtful", table.header_place(index), "rtt_ms", most=f"{given.max():g}")


def _pair_rows(read: TypedSheet, sites: KnownIds, hubs: KnownIds, findings: Findings) -> PairRows:
    read, turn = turned(read, sites, hubs, findings)
    site = resolve_column(read, "site", sites, findings, "site_unknown")
    hub = resolve_column(read, "hub", hubs, findings, "hub_unknown")
    frame = read.frame.assign(site=_categories(site, sites), hub=_categories(hub, hubs))
    row = np.arange(len(frame), dtype=np.int64)
    column = np.full(len(frame), read.match.known.get("rtt_ms", 0), dtype=np.int64)
    return PairRows(read.raw, frame, site, hub, row, column, turn).only((site >= 0) & (hub >= 0))


def _agreed(rows: PairRows, sites: KnownIds, hubs: KnownIds, findings: Findings) -> PairRows:
    """Return the rows with the larger figures wherever two rows state one path from its two ends."""
    one, other = mirrors(rows.site, rows.hub, sites, hubs)
    keep = np.ones(len(rows.site), dtype=np.bool_)
    if rows.turned is not None and rows.turned.any():
        ahead, back = _both_ways(rows, max(len(hubs.ids), 1))
        one, other = np.concatenate((one, ahead)), np.concatenate((other, back))
        keep[back] = False
    rtt_ms = rows.frame["rtt_ms"].to_numpy(dtype=np.float64)
    share = differences(rtt_ms[one], rtt_ms[other])
    far = share > TOLERANCE
    if far.any():
        most = int(np.argmax(share))
        a, b = one[most], other[most]
        ends = f"{sites.ids[rows.site[a]]} and {hubs.ids[rows.hub[a]]}: {rtt_ms[a]:g} and {rtt_ms[b]:g} ms"
        words = {"pairs": int(far.sum()), "most": f"{share[most]:.0%}", "example": ends}
        findings.add("directions_differ", rows.place(int(a)), "rtt_ms", tolerance=f"{TOLERANCE:.0%}", **words)
    if (close := (share > 0) & ~far).any():
        place = rows.place(int(one[close][0]))
        findings.add("directions_jitter", place, "rtt_ms", pairs=int(close.sum()), tolerance=f"{TOLERANCE:.0%}")
    if not len(one):
        return rows
    frame = rows.frame.copy()
    for name in ("rtt_ms", "loss_percent", "pair_cost"):
        figures = frame[name].to_numpy(dtype=np.float64).copy()
        worst = np.fmax(figures[one], figures[other])
        # A blank stays blank on the row of another pair: nobody measured it from that end.
        same = rows.site[one] == rows.site[other]
        figures[one] = np.where(np.isnan(figures[one]) & ~same, np.nan, worst)
        figures[other] = np.where(np.isnan(figures[other]) & ~same, np.nan, worst)
        frame[name] = figures
    return replace(rows, frame=frame).only(keep)


def _both_ways(rows: PairRows, width: int) -> tuple[Ints, Ints]:
    """Return positions of rows of one pair, the first measured from the site and the second from the hub."""
    assert rows.turned is not None
    keys = rows.site * width + rows.hub
    ahead, back = (np.flatnonzero(mask) for mask in (~rows.turned, rows.turned))
    _, at_ahead, at_back = np.intersect1d(keys[ahead], keys[back], return_indices=True)
    return ahead[at_ahead], back[at_back]


def _without_zeros(table: RawTable, index: int, is_here: Callable[[int], bool], findings: Findings) -> RawTable:
    """Return the table with zeros among the round-trip times of a column as blanks, each a finding.

    ``is_here`` says of a row, from 0, whether its site and hub are one place.
    """
    zeros = _zeros(table.columns[index])
    if not zeros.any():
        return table
    for position in np.flatnonzero(zeros).tolist():
        findings.note("rtt_to_itself" if is_here(position) else "rtt_zero", table.place(position, index), "rtt_ms")
    column = table.columns[index].copy()
    column[zeros] = np.nan if column.dtype.kind == "f" else ""
    return replace(table, columns=(*table.columns[:index], column, *table.columns[index + 1 :]))


def _is_one_place(ends: Sequence[npt.NDArray[Any]], row: int) -> bool:
    return len(ends) == 2 and str(ends[0][row]) == str(ends[1][row])


def _is_called(cells: Sequence[npt.NDArray[Any]], names: Collection[str], row: int) -> bool:
    return any(str(column[row]) in names for column in cells)


def _zeros(column: npt.NDArray[Any]) -> Bools:
    if column.dtype.kind == "f":
        zero: Bools = column == 0.0
        return zero
    if column.dtype != object:
        return np.zeros(len(column), dtype=np.bool_)
    values = column.tolist()
    if set(map(type, values)) <= {float, int} and 0 not in values:  # almost every column
        return np.zeros(len(column), dtype=np.bool_)
    return np.array([_is_zero(value) for value in values], dtype=np.bool_)


def _is_zero(value: object) -> bool:
    if type(value) is float or type(value) is int:
        return value == 0
    return type(value) is str and value[:1] == "0" and not value.strip("0.,")


def _categories(codes: Ints, known: KnownIds) -> pd.Categorical:
    return pd.Categorical.from_codes(codes, categories=pd.Index(known.ids, dtype=object))


def _matrix(table: RawTable, sites: KnownIds, hubs: KnownIds, findings: Findings) -> PairRows:
    table = without_totals(table, findings)
    corner = _site_column(table, hubs, findings)
    columns = _hub_columns(table, corner, hubs, findings)
    called = [] if corner is None else [table.columns[corner]]
    for index, at_hub in columns.items():
        names = (header_text(table.headers[index]), hubs.ids[at_hub])
        table = _without_zeros(table, index, partial(_is_called, called, names), findings)
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
        rtt_ms[:, at] = clean(Cells(spec, read.raw, index, findings, stated=stated))
    if columns and all(_stated(read.raw, index, corner).unit is None for index in columns):
        _doubt(read.raw, next(iter(columns)), rtt_ms, findings)
    rows, at_column = np.nonzero(~np.isnan(rtt_ms))
    site, hub = site[rows], np.array(list(columns.values()), dtype=np.int64)[at_column]
    values = {"site": _categories(site, sites), "hub": _categories(hub, hubs), "rtt_ms": rtt_ms[rows, at_column]}
    index_of = np.array(list(columns), dtype=np.int64)
    return PairRows(read.raw, typed_table(LATENCY, values), site, hub, rows.astype(np.int64), index_of[at_column])


def _stated(table: RawTable, index: int, corner: int | None) -> Stated:
    """Return the unit and direction that a column of a matrix, a name above it, its corner or its title states."""
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


def _hub_columns(table: RawTable, corner: int | None, hubs: KnownIds, findings: Findings) -> dict[int, int]:
    """Return the position of the hub of each matrix column, by column; other columns become findings."""
    found: dict[int, int] = {}
    for index, header in enumerate(table.headers):
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


def _repeated(rows: PairRows, sites: KnownIds, hubs: KnownIds, findings: Findings) -> npt.NDArray[np.bool_]:
    """Return which rows state a pair again, with a finding for each that says whether the values agree."""
    repeated = np.zeros(len(rows.site), dtype=np.bool_)
    keys = rows.site * max(len(hubs.ids), 1) + rows.hub
    order = np.argsort(keys, kind="stable")
    starts = np.append(True, np.diff(keys[order]) > 0)[: len(keys)]
    if starts.all():
        return repeated
    first = order[np.maximum.accumulate(np.where(starts, np.arange(len(keys)), 0))]
    earlier, later = first[~starts], order[~starts]
    repeated[later] = True
    figures = rows.frame[list(_FIGURES)].to_numpy(dtype=np.float64)
    blank = np.isnan(figures)
    same = ((figures[earlier] == figures[later]) | (blank[earlier] & blank[later])).all(axis=1)
    for before, again, agree in zip(earlier.tolist(), later.tolist(), same.tolist(), strict=True):
        site, hub, other = sites.ids[rows.site[again]], hubs.ids[rows.hub[again]], partial(_address, rows, before)
        code = "pair_repeated" if agree else "pair_conflict"
        findings.add(code, rows.place(again), "rtt_ms", site=site, hub=hub, other=other)
    return repeated


def _address(rows: PairRows, position: int) -> str:
    return rows.place(position).cell
