"""Public matrices of measured round-trip times as fleets: PlanetLab in ms, Seattle in seconds and asymmetric.

Source: R. Zhu, B. Liu, D. Niu, Z. Li, H. V. Zhao, Network Latency Estimation for Personal Devices: A Matrix Completion
Approach, IEEE/ACM Transactions on Networking 25(2), 2017, 724-737; the files come with the benchmarks.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import planner
from planner.explain import pairs_to_measure

FOLDER = Path(__file__).parents[3] / "shared" / "benchmarks" / "latency"
PLANETLAB, SEATTLE = FOLDER / "planetlab_490_slice1_ms.tsv.gz", FOLDER / "seattle_99_slice1_s.tsv"
pytestmark = pytest.mark.skipif(not PLANETLAB.exists(), reason="the benchmark files are not here")
HUBS = list(range(0, 490, 41))  # 12 of the nodes, spread over the list


def name(node: int) -> str:
    return f"N{node:03d}"


def matrix(rtt: np.ndarray, hubs: list[int]) -> pd.DataFrame:
    frame = pd.DataFrame(rtt[:, hubs], columns=[name(h) for h in hubs])
    frame.insert(0, "site", [name(node) for node in range(len(rtt))])
    return frame


def fleet_of(latency: pd.DataFrame, nodes: int, hubs: list[int], **policy) -> planner.Fleet:
    tables = {
        "Sites": pd.DataFrame({"site": [name(node) for node in range(nodes)]}),
        "Hubs": pd.DataFrame({"hub": [name(h) for h in hubs]}),
        "Latency": latency,
    }
    return planner.fleet_from_tables(tables, policy)


def sound(fleet, plan):
    assert [v for v in planner.verify(fleet, plan) if v.severity == "violation"] == []
    assert plan.lower_bound == plan.hosts


@pytest.fixture(scope="module")
def planetlab():
    return np.loadtxt(PLANETLAB)


@pytest.mark.parametrize("budget_ms", [50.0, 100.0])
def test_planetlab_plans_as_it_comes(planetlab, budget_ms):
    fleet = fleet_of(matrix(planetlab, HUBS), 490, HUBS, latency_budget_ms=budget_ms)
    (itself,) = [f for f in fleet.findings if f.code == "rtt_to_itself"]  # zeros on the diagonal
    assert "12 cells" in itself.message
    plan = planner.plan(fleet)
    sound(fleet, plan)
    reach = (planetlab[:, HUBS] <= budget_ms) & (np.array(HUBS) != np.arange(490)[:, None])
    assert len(plan.unserved) == int((~reach.any(axis=1)).sum())
    for row in plan.assignments:
        assert row.rtt_ms == planetlab[int(row.site[1:]), int(row.hub[1:])]


def test_planetlab_with_a_third_of_the_pairs_blanked_serves_no_more_and_asks_for_measurements(planetlab):
    blanked = planetlab.copy()
    blanked[np.random.default_rng(1).random(blanked.shape) < 1 / 3] = np.nan
    full = planner.plan(fleet_of(matrix(planetlab, HUBS), 490, HUBS, latency_budget_ms=100.0))
    fleet = fleet_of(matrix(blanked, HUBS), 490, HUBS, latency_budget_ms=100.0)
    plan = planner.plan(fleet)
    sound(fleet, plan)
    left, before = {u.site for u in plan.unserved}, {u.site for u in full.unserved}
    assert left > before
    assert all(not np.isnan(blanked[int(a.site[1:]), int(a.hub[1:])]) for a in plan.assignments)
    asked = pairs_to_measure(fleet, plan, time_limit=0.5)
    assert asked
    for row in asked:
        at = int(row.site[1:]), int(row.hub[1:])
        assert (row.evidence, row.outcome) == ("unknown", "within")
        assert np.isnan(blanked[at])


@pytest.fixture(scope="module")
def seattle():
    return np.loadtxt(SEATTLE) * 1000.0  # seconds


def test_seattle_as_a_matrix_says_that_ends_disagree_and_takes_the_larger(seattle):
    hubs = list(range(0, 99, 9))
    fleet = fleet_of(matrix(seattle, hubs), 99, hubs, latency_budget_ms=200.0)
    (differ,) = [f for f in fleet.findings if f.code == "directions_differ"]
    among = seattle[np.ix_(hubs, hubs)]
    one, other = among[np.triu_indices(len(hubs), 1)], among.T[np.triu_indices(len(hubs), 1)]
    far = (np.maximum(one, other) > 1.1 * np.minimum(one, other)) & (np.minimum(one, other) > 0)
    assert differ.message.startswith(f"{far.sum()} path(s)")
    plan = planner.plan(fleet)
    sound(fleet, plan)
    for row in plan.assignments:
        site, hub = int(row.site[1:]), int(row.hub[1:])
        worst = max(seattle[site, hub], seattle[hub, site]) if site in hubs else seattle[site, hub]
        assert row.rtt_ms == worst


def test_seattle_listed_from_both_ends_takes_the_larger_of_the_two(seattle):
    hubs = list(range(0, 99, 9))
    nodes = [node for node in range(99) if node not in hubs]
    there = [(name(s), name(h), seattle[s, h] / 1000.0) for s in nodes for h in hubs]  # as they come
    back = [(name(h), name(s), seattle[h, s] / 1000.0) for s in nodes for h in hubs]
    tables = {
        "Sites": pd.DataFrame({"site": [name(node) for node in nodes]}),
        "Hubs": pd.DataFrame({"hub": [name(h) for h in hubs]}),
        "Latency": pd.DataFrame([*there, *back], columns=["site", "hub", "RTT [s]"]),
    }
    fleet = planner.fleet_from_tables(tables, {"latency_budget_ms": 200.0})
    codes = {f.code for f in fleet.findings if f.where.startswith("Latency")}
    read = {"columns_matched", "unit_converted"}
    assert codes == {*read, "rtt_zero", "direction_reversed", "directions_differ", "directions_jitter"}
    plan = planner.plan(fleet)
    sound(fleet, plan)
    for row in plan.assignments:
        site, hub = int(row.site[1:]), int(row.hub[1:])
        assert row.rtt_ms == pytest.approx(max(seattle[site, hub], seattle[hub, site]))
