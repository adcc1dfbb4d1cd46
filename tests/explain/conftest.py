"""Fleets straight from arrays, the sample fleet, and the bench that searches share."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import planner
from planner import columns
from planner.explain.bench import Bench
from planner.fleet import Fleet, Policy, typed_table
from planner.rules import Checker
from planner.sizing.problem import build_problem
from planner.sizing.solver import Effort

TWELVE_SITES = Path(__file__).parents[2] / "sample_fleets" / "twelve_sites.xlsx"


def fleet_of(rtt_ms, *, sites=None, pools=None, **policy) -> Fleet:
    """Build a fleet from an RTT matrix (sites, hubs), NaN for unknown; ids are S0.. and H0.., the budget is 50 ms."""
    rtt = np.asarray(rtt_ms, dtype=float)
    site_ids, hub_ids = [f"S{i}" for i in range(rtt.shape[0])], [f"H{j}" for j in range(rtt.shape[1])]
    at = np.argwhere(~np.isnan(rtt))
    latency = {
        "site": pd.Categorical.from_codes(at[:, 0], site_ids),
        "hub": pd.Categorical.from_codes(at[:, 1], hub_ids),
        "rtt_ms": rtt[at[:, 0], at[:, 1]],
    }
    return Fleet(
        sites=typed_table(columns.SITES, {"site": site_ids, **(sites or {})}),
        pools=typed_table(columns.HUBS, {"hub": hub_ids, "pool": hub_ids, **(pools or {})}),
        latency=typed_table(columns.LATENCY, latency),
        policy=Policy(**{"latency_budget_ms": 50.0, **policy}),
    )


def bench_of(fleet) -> Bench:
    checker = Checker(fleet)
    return Bench(fleet, planner.plan(fleet), checker, build_problem(fleet, checker), Effort(), lambda _words: None)


@pytest.fixture(scope="session")
def make():
    return SimpleNamespace(fleet=fleet_of, bench=bench_of)


@pytest.fixture(scope="session")
def twelve_sites():
    """The sample fleet that sample_fleets/README.md solves by hand."""
    return planner.read_fleet(TWELVE_SITES)
