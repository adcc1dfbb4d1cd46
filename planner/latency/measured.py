"""Measured round-trip times: the Latency sheet as it stands, and the Samples sheet reduced to a percentile."""

from __future__ import annotations

import numpy as np

from planner.fleet import Fleet, Ints
from planner.latency.figures import Figures, pair_keys


def from_latency_sheet(fleet: Fleet) -> Figures:
    """Return the figures of the Latency sheet; of several rows for a pair the worst of each figure counts."""
    key, known = pair_keys(fleet, fleet.latency)
    columns = [
        fleet.latency[name].to_numpy(dtype=np.float64)[known] for name in ("rtt_ms", "loss_percent", "pair_cost")
    ]
    if (np.diff(key) > 0).all():  # a matrix, row by row: nothing to sort or to reduce
        return Figures(key, *columns)
    order = np.argsort(key, kind="stable")
    key, starts = _groups(key[order])
    return Figures(key, *(np.fmax.reduceat(column[order], starts) for column in columns))


def from_samples(fleet: Fleet) -> Figures:
    """Return the policy's percentile and the loss of the probes of each pair.

    The percentile is the nearest rank, Hyndman and Fan's type 1, with a lost probe counted as infinitely late
    (RFC 2330, section 11.3, and RFC 7679): the round-trip time is ``inf`` where the percentile falls on lost probes.
    """
    key, known = pair_keys(fleet, fleet.samples)
    rtt_ms = fleet.samples["rtt_ms"].to_numpy(dtype=np.float64)[known]
    rtt_ms = np.where(np.isnan(rtt_ms), np.inf, rtt_ms)
    order = np.lexsort((rtt_ms, key))
    key, starts = _groups(key[order])
    probes = np.diff(starts, append=len(rtt_ms))
    lost = np.add.reduceat(np.isinf(rtt_ms[order]).astype(np.int64), starts)
    at_percentile = rtt_ms[order][starts + _nearest_rank(fleet.policy.percentile, probes) - 1]
    return Figures(key, at_percentile, 100.0 * lost / probes, np.full(len(key), np.nan))


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
