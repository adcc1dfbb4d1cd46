"""Fleets straight from arrays, and a sweep of them in this process."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import planner
from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.scenarios.sweeping import sweep
from planner.scenarios.vary import axis_of, combined

ROOT = Path(__file__).parents[2]
TWELVE_SITES = ROOT / "sample_fleets" / "twelve_sites.xlsx"


def fleet_of(rtt_ms, *, sites=None, pools=None, costs=None, current=None, samples=None, **policy) -> Fleet:
    """Build a fleet from an RTT matrix (sites, hubs), NaN for unknown; ids are S00.. and H0.., the budget is 50 ms."""
    rtt = np.asarray(rtt_ms, dtype=float)
    site_ids, hub_ids = [f"S{i:02d}" for i in range(rtt.shape[0])], [f"H{j}" for j in range(rtt.shape[1])]
    at = np.argwhere(~np.isnan(rtt))
    latency = {
        "site": pd.Categorical.from_codes(at[:, 0], site_ids),
        "hub": pd.Categorical.from_codes(at[:, 1], hub_ids),
        "rtt_ms": rtt[at[:, 0], at[:, 1]],
    }
    if costs is not None:
        latency["pair_cost"] = np.asarray(costs, dtype=float)[at[:, 0], at[:, 1]]
    return Fleet(
        sites=typed_table(columns.SITES, {"site": site_ids, **(sites or {})}),
        pools=typed_table(columns.HUBS, {"hub": hub_ids, "pool": hub_ids, **(pools or {})}),
        latency=typed_table(columns.LATENCY, latency),
        samples=typed_table(columns.SAMPLES, samples or {}),
        current=typed_table(columns.CURRENT, current or {}),
        policy=Policy(**{"latency_budget_ms": 50.0, **policy}),
    )


def swept(fleet, *options, named=(), **how):
    """The points of a sweep in this process, by name."""
    scenarios = combined([axis_of(option) for option in options], named)
    found = sweep(fleet, scenarios, **{"jobs": 1, **how})
    return {point.scenario.name: point for point in found.points}


@pytest.fixture(scope="session")
def make():
    return SimpleNamespace(fleet=fleet_of, swept=swept)


@pytest.fixture(scope="session")
def twelve_sites():
    """The sample fleet that sample_fleets/README.md solves by hand."""
    return planner.read_fleet(TWELVE_SITES)
