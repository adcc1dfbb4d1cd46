"""The Latency sheet, as a list of pairs or as a matrix, and the Samples sheet -> tables with ids as categories."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.columns import LATENCY, SAMPLES
from planner.fleet import Floats, Ints
from planner.intake.directions import TOLERANCE, differences, mirrors, turned
from planner.intake.findings import Findings, show
from planner.intake.ids import KnownIds, resolve_column
from planner.intake.matching import match_headers
from planner.intake.matrix import is_matrix, read_matrix
from planner.intake.norows import without_notes, without_totals
from planner.intake.pairrows import PairRows, categories, doubt_unit, settled, without_zeros
from planner.intake.rawtable import RawTable
from planner.intake.tables import TypedSheet, read_matched, read_table

_FIGURES = ("rtt_ms", "loss_percent", "pair_cost")


def read_latency(table: RawTable, sites: KnownIds, hubs: KnownIds, findings: Findings, budgets_ms: Floats) -> PairRows:
    """Return the rows of known pairs that state something; of a pair that is there twice, the first.

    A path that was measured from both ends has the larger of the two figures, on either row.
    """
    read = read_matrix if is_matrix(table, hubs) else _pairs
    rows = settled(read(table, sites, hubs, findings), budgets_ms, findings)
    figures = rows.frame[list(_FIGURES)].to_numpy(dtype=np.float64)
    rows = rows.only(~np.isnan(figures).all(axis=1))
    rows = _agreed(rows, sites, hubs, findings)
    return rows.only(~_repeated(rows, sites, hubs, findings))


def read_latencies(
    tables: Sequence[RawTable], sites: KnownIds, hubs: KnownIds, findings: Findings, budgets_ms: Floats
) -> PairRows:
    """Return the rows of several tables as one: each counts where those before it know nothing of a pair.

    ``budgets_ms`` has the latency budget of each site: a time that is only known to exceed a figure is beyond it, or
    not known.
    """
    first, *more = [read_latency(table, sites, hubs, findings, budgets_ms) for table in tables]
    for rows in more:
        first = _completed(first, rows, max(len(hubs.ids), 1), findings)
    return first


def _completed(first: PairRows, later: PairRows, width: int, findings: Findings) -> PairRows:
    keys, others = (rows.site * width + rows.hub for rows in (first, later))
    _, at_first, at_later = np.intersect1d(keys, others, return_indices=True)
    new = np.ones(len(others), dtype=np.bool_)
    new[at_later] = False
    one, other = (r.frame["rtt_ms"].to_numpy(dtype=np.float64)[at] for r, at in ((first, at_first), (later, at_later)))
    differ = int((~np.isclose(one, other, rtol=0, atol=1e-6, equal_nan=True)).sum())
    if len(at_later):
        title = show(first.raw.title)
        findings.add("latency_superseded", later.raw.place(), pairs=len(at_later), title=title, differ=differ)
    later = later.only(new)
    return PairRows(
        first.raw,
        pd.concat([first.frame, later.frame[list(LATENCY.names)]], ignore_index=True)
        if len(later.frame)
        else first.frame,
        *(np.concatenate((getattr(first, name), getattr(later, name))) for name in ("site", "hub", "row", "column")),
    )


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
        table = without_zeros(table, at["rtt_ms"], partial(_is_one_place, ends), findings)
    table = without_notes(table, [at[name] for name in ("site", "hub") if name in at], findings)
    read = read_matched(table, LATENCY, match, findings, {})
    if "rtt_ms" in read.match.known:
        index = read.match.known["rtt_ms"]
        doubt_unit(read.raw, index, read.frame["rtt_ms"].to_numpy(dtype=np.float64), findings)
    return _pair_rows(read, sites, hubs, findings)


def _pair_rows(read: TypedSheet, sites: KnownIds, hubs: KnownIds, findings: Findings) -> PairRows:
    read, turn = turned(read, sites, hubs, findings)
    site = resolve_column(read, "site", sites, findings, "site_unknown")
    hub = resolve_column(read, "hub", hubs, findings, "hub_unknown")
    frame = read.frame.assign(site=categories(site, sites), hub=categories(hub, hubs))
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


def _is_one_place(ends: Sequence[npt.NDArray[Any]], row: int) -> bool:
    return len(ends) == 2 and str(ends[0][row]) == str(ends[1][row])


def _repeated(rows: PairRows, sites: KnownIds, hubs: KnownIds, findings: Findings) -> npt.NDArray[np.bool_]:
    """Return which rows state a pair again, with a finding for each that says whether the values agree."""
    repeated = np.zeros(len(rows.site), dtype=np.bool_)
    keys = rows.site * max(len(hubs.ids), 1) + rows.hub
    # Of dated rows of a pair the newest comes first, and rows without a date last.
    moments = rows.frame["measured_at"].to_numpy(dtype="datetime64[us]")
    age = np.where(np.isnat(moments), np.iinfo(np.int64).max, -moments.astype(np.int64))
    order = np.lexsort((np.arange(len(keys)), age, keys))
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
        newer = not np.isnat(moments[before]) and moments[before] != moments[again]
        code = "pair_repeated" if agree else "pair_newer" if newer else "pair_conflict"
        findings.add(code, rows.place(again), "rtt_ms", site=site, hub=hub, other=other)
    return repeated


def _address(rows: PairRows, position: int) -> str:
    return rows.place(position).cell
