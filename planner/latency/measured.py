"""Measured round-trip times: the Latency sheet as it stands, and the Samples sheet reduced to a percentile."""

from __future__ import annotations

import numpy as np
import pandas as pd

from planner.fleet import Fleet, Ints, Moments
from planner.latency.figures import PairFigures, pair_keys
from planner.own import OwnSource, refused


def from_latency_sheet(fleet: Fleet) -> PairFigures:
    """Return the figures of the Latency sheet; of several rows for a pair the worst of each figure counts.

    The worst date is the earliest.
    """
    return _worst(fleet, fleet.latency)


def from_caller(fleet: Fleet, source: OwnSource) -> PairFigures:
    """Return the figures of a source of the caller's own; of several rows for a pair the worst of each figure counts.

    Raises InputError for sites and hubs that the fleet does not have.
    """
    table = source.figures(fleet)
    strangers = [name for name in table["site"] if name not in set(fleet.site_ids)][:1]
    strangers += [name for name in table["hub"] if name not in set(fleet.hub_ids)][:1]
    if strangers:
        raise refused(f"the source {source.name}", f"names {strangers[0]}, which the fleet does not have")
    return _worst(fleet, table)


def _worst(fleet: Fleet, table: pd.DataFrame) -> PairFigures:
    """Return the rows of a table of pairs as one for each pair."""
    key, known = pair_keys(fleet, table)
    rtt_ms, loss_percent, pair_cost = (
        table[name].to_numpy(dtype=np.float64)[known] for name in ("rtt_ms", "loss_percent", "pair_cost")
    )
    measured_at = _moments(table["measured_at"])[known]
    if (np.diff(key) > 0).all():  # a matrix, row by row: nothing to sort or to reduce
        return PairFigures(key, rtt_ms, loss_percent, pair_cost, measured_at)
    order = np.argsort(key, kind="stable")
    key, starts = _groups(key[order])
    worst = [np.fmax.reduceat(column[order], starts) for column in (rtt_ms, loss_percent, pair_cost)]
    return PairFigures(key, worst[0], worst[1], worst[2], np.fmin.reduceat(measured_at[order], starts))


def from_samples(fleet: Fleet) -> PairFigures:
    """Return the policy's percentile and the loss of the probes of each pair, dated by the last of them.

    The percentile is the nearest rank: the smallest value that at least this share of the probes does not exceed
    (RFC 2330, section 11.3; type 1 of Hyndman and Fan, The American Statistician 50(4), 1996). A lost probe has an
    undefined round-trip time and counts as infinitely late (RFC 2681, section 2, and RFC 2679, now RFC 7679; the
    clauses from memory): the result is ``inf`` where the percentile falls on lost probes. Rules that interpolate,
    such as that of the NIST/SEMATECH e-Handbook, 7.2.6.2 (type 6), have no value there. Loss is the share of lost
    probes (RFC 6673).
    """
    key, known = pair_keys(fleet, fleet.samples)
    rtt_ms = fleet.samples["rtt_ms"].to_numpy(dtype=np.float64)[known]
    rtt_ms = np.where(np.isnan(rtt_ms), np.inf, rtt_ms)
    order = np.lexsort((rtt_ms, key))
    key, starts = _groups(key[order])
    probes = np.diff(starts, append=len(rtt_ms))
    lost = np.add.reduceat(np.isinf(rtt_ms[order]).astype(np.int64), starts)
    at_percentile = rtt_ms[order][starts + _nearest_rank(fleet.policy.percentile, probes) - 1]
    last = np.fmax.reduceat(_moments(fleet.samples["at"])[known][order], starts)
    return PairFigures(key, at_percentile, 100.0 * lost / probes, np.full(len(key), np.nan), last)


def _moments(column: pd.Series) -> Moments:
    moments: Moments = column.to_numpy(dtype="datetime64[us]")
    return moments


def _nearest_rank(percentile: float, counts: Ints) -> Ints:
    """Return the rank, from 1, of ``percentile`` among each of ``counts`` ordered values."""
    exact = percentile * counts / 100.0
    # Without the small subtrahend 99.9 % of 1000 values would be rank 1000 in binary floating point.
    rank: Ints = np.clip(np.ceil(exact - 1e-9), 1, counts).astype(np.int64)
    return rank


def _groups(sorted_keys: Ints) -> tuple[Ints, Ints]:
    """Return the different keys and where each begins."""
    starts = np.flatnonzero(np.diff(sorted_keys, prepend=-1))
    return sorted_keys[starts], starts.astype(np.int64)
