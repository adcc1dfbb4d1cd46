"""Fleets straight from arrays, so that a room is tested without intake; and bins, by brute force."""

import itertools
from functools import cache

import numpy as np
import pandas as pd

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.latency import RoundTrips
from planner.standing import with_standing_hosts


def fleet_of(
    rtt_ms, *, sites=None, pools=None, costs=None, current=None, samples=None, hubs=None, digits=2, **policy
) -> Fleet:
    """Build a fleet from an RTT matrix (sites, hubs), NaN for unknown; the budget is 50 ms unless given.

    Ids are S00.. (of so many ``digits``) and H0.., or ``hubs``, where one that is there twice has two pools.
    """
    rtt = np.asarray(rtt_ms, dtype=float)
    count, width = rtt.shape
    site_ids = [f"S{i:0{digits}d}" for i in range(count)]
    hub_ids = hubs or [f"H{j}" for j in range(width)]
    at = np.argwhere(~np.isnan(rtt))
    latency = {
        "site": pd.Categorical.from_codes(at[:, 0], site_ids),
        "hub": pd.Categorical.from_codes(at[:, 1], list(dict.fromkeys(hub_ids))),
        "rtt_ms": rtt[at[:, 0], at[:, 1]],
    }
    if costs is not None:
        latency["pair_cost"] = np.asarray(costs, dtype=float)[at[:, 0], at[:, 1]]
    fleet = Fleet(
        sites=typed_table(columns.SITES, {"site": site_ids, **(sites or {})}),
        pools=typed_table(columns.HUBS, {"hub": hub_ids, "pool": hub_ids, **(pools or {})}),
        latency=typed_table(columns.LATENCY, latency),
        samples=typed_table(columns.SAMPLES, samples or {}),
        current=typed_table(columns.CURRENT, current or {}),
        policy=Policy(**{"latency_budget_ms": 50.0, **policy}),
    )
    return with_standing_hosts(fleet)


def without_figures(pairs: int) -> RoundTrips:
    """Round-trip times of 0 ms for so many pairs."""
    none = np.zeros(pairs)
    undated = np.full(pairs, np.datetime64("NaT", "us"))
    return RoundTrips(none, none, none, np.zeros(pairs, dtype=np.int8), undated)


@cache
def fewest_bins(sizes: tuple[int, ...], cap: int) -> int:
    """Fewest bins for the items, by putting the first one into each bin that another subset could share."""
    if not sizes:
        return 0
    first, rest = sizes[0], sizes[1:]
    best = len(sizes)
    for picks in itertools.product((False, True), repeat=len(rest)):
        if first + sum(itertools.compress(rest, picks)) <= cap:
            left = tuple(size for size, pick in zip(rest, picks, strict=True) if not pick)
            best = min(best, 1 + fewest_bins(left, cap))
    return best
