"""Fleets for the sizing tests: typed tables straight from arrays, so that sizing is tested without intake."""

import os
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.verify import verify


def fleet_of(rtt_ms, *, sites=None, pools=None, costs=None, current=None, hubs=None, **policy) -> Fleet:
    """Build a fleet from an RTT matrix (sites, hubs), NaN for unknown; ids are S00.. and H0.. unless given."""
    rtt = np.asarray(rtt_ms, dtype=float)
    count, width = rtt.shape
    site_ids = [f"S{i:02d}" for i in range(count)]
    hub_ids = hubs or [f"H{j}" for j in range(width)]
    at = np.argwhere(~np.isnan(rtt))
    latency = {
        "site": pd.Categorical.from_codes(at[:, 0], site_ids),
        "hub": pd.Categorical.from_codes(at[:, 1], list(dict.fromkeys(hub_ids))),
        "rtt_ms": rtt[at[:, 0], at[:, 1]],
    }
    if costs is not None:
        latency["pair_cost"] = np.asarray(costs, dtype=float)[at[:, 0], at[:, 1]]
    return Fleet(
        sites=typed_table(columns.SITES, {"site": site_ids, **(sites or {})}),
        pools=typed_table(columns.HUBS, {"hub": hub_ids, "pool": hub_ids, **(pools or {})}),
        latency=typed_table(columns.LATENCY, latency),
        current=typed_table(columns.CURRENT, current or {}),
        policy=Policy(**{"latency_budget_ms": 50.0, **policy}),
    )


def sound(fleet: Fleet, plan) -> None:
    """Assert that the independent verifier finds nothing and that a plan called optimal is."""
    assert [str(v) for v in verify(fleet, plan) if v.severity == "violation"] == []


@pytest.fixture(scope="session")
def make():
    return SimpleNamespace(fleet=fleet_of, sound=sound, pools=lambda table: typed_table(columns.HUBS, table))


@pytest.fixture(scope="session")
def examples() -> int:
    """Random cases of each kind; CASTINGVOTE_EXAMPLES asks for more than the everyday suite runs."""
    return int(os.environ.get("CASTINGVOTE_EXAMPLES", "60"))
