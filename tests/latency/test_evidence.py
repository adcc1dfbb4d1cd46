"""Age, evidence and range: what the policy accepts, limits inclusive, and that they travel to every output."""

import dataclasses

import numpy as np
import openpyxl
import pytest

import planner
from planner.latency import estimate_range_ms, resolve
from planner.verify import verify

PLACES = (
    {"site": ["A"], "latitude": [54.0], "longitude": [-1.0]},
    {"hub": ["X"], "pool": ["X"], "latitude": [55.0], "longitude": [-1.0], "max_hosts": [1]},
)


def codes(plan):
    return {reason.code for left in plan.unserved for reason in left.reasons}


@pytest.mark.parametrize(
    ("sheet", "evidence"),
    [
        ({"latency": {"site": ["A"], "hub": ["X"], "rtt_ms": [9.0]}}, "measured"),
        ({"samples": {"site": ["A"], "hub": ["X"], "rtt_ms": [9.0]}}, "measured"),
        ({"links": {"from": ["A"], "to": ["X"], "latency_ms": [4.5]}}, "modelled"),
        ({}, "estimated"),
    ],
)
@pytest.mark.parametrize("accepted", ["measured", "modelled", "estimated"])
def test_a_site_is_served_on_evidence_that_the_policy_accepts(fleet_of, sheet, evidence, accepted):
    fleet = fleet_of(*PLACES, **sheet, unknown_latency="estimate", accepted_evidence=accepted, latency_budget_ms=20.0)
    plan = planner.plan(fleet)
    order = ["measured", "modelled", "estimated"]
    assert verify(fleet, plan) == ()
    if order.index(evidence) <= order.index(accepted):
        assert [a.evidence for a in plan.assignments] == [evidence]
    else:
        assert codes(plan) == {"evidence"}
        assert f"only {evidence} (hub X)" in plan.unserved[0].reasons[0].detail


@pytest.mark.parametrize(
    ("measured_at", "passes"),
    [
        ("2026-10-26", True),
        ("2026-10-26T23:59", True),
        ("2026-10-25T23:59", False),
        (None, False),
        ("2027-01-01", True),
    ],
)
def test_thirty_days_are_not_too_old_and_thirty_one_are(fleet_of, measured_at, passes):
    latency = {"site": ["A"], "hub": ["X"], "rtt_ms": [9.0], "measured_at": [measured_at]}
    settings = {"latency_budget_ms": 20.0, "max_age_days": 30, "as_of": "2026-11-25"}
    strict = fleet_of(*PLACES, latency, **settings, old_latency="ineligible")
    plan = planner.plan(strict)
    assert verify(strict, plan) == ()
    assert (not plan.unserved) == passes
    if not passes:
        assert codes(plan) == {"old_latency"}
    assert not planner.plan(fleet_of(*PLACES, latency, **settings)).unserved  # a warning leaves it eligible


def test_age_does_not_bar_what_was_not_measured(fleet_of):
    links = {"from": ["A"], "to": ["X"], "latency_ms": [4.5]}
    fleet = fleet_of(*PLACES, links=links, latency_budget_ms=20.0, max_age_days=1, old_latency="ineligible")
    assert not planner.plan(fleet).unserved


def test_the_date_is_that_of_the_source_that_gives_the_rtt(fleet_of):
    samples = {"site": ["A"] * 3, "hub": ["X"] * 3, "rtt_ms": [5, 6, 7], "at": ["2026-11-03", "2026-11-05", None]}
    assert str(resolve(fleet_of("A", "X", samples=samples)).measured_at[0])[:10] == "2026-11-05"
    undated = {"site": ["A"], "hub": ["X"], "rtt_ms": [9.0]}
    assert np.isnat(resolve(fleet_of("A", "X", undated, samples)).measured_at[0])
    cost_only = {"site": ["A"], "hub": ["X"], "rtt_ms": [None], "pair_cost": [3], "measured_at": ["2020-01-01"]}
    assert str(resolve(fleet_of("A", "X", cost_only, samples)).measured_at[0])[:10] == "2026-11-05"
    links = {"from": ["A"], "to": ["X"], "latency_ms": [4.5]}
    assert np.isnat(resolve(fleet_of("A", "X", cost_only, links=links)).measured_at[0])


def test_the_range_of_an_estimate_holds_straight_fibre_and_the_estimate(fleet_of):
    fleet = fleet_of(*PLACES, unknown_latency="estimate", latency_budget_ms=20.0)
    (row,) = planner.plan(fleet).assignments
    low, high = estimate_range_ms(row.rtt_ms)
    assert (row.rtt_low_ms, row.rtt_high_ms, row.measured_at) == (low, high, None)
    assert low == pytest.approx(2 * 0.005 * 111.3, rel=0.01)  # one degree of latitude
    assert low < row.rtt_ms < high


@pytest.fixture
def dated(fleet_of):
    sites = {"site": ["A", "B"], "latitude": [54.0, 54.0], "longitude": [-1.0, -1.0]}
    latency = {"site": ["A"], "hub": ["X"], "rtt_ms": [9.0], "measured_at": ["2026-11-20T10:11:12"]}
    return fleet_of(sites, PLACES[1], latency, unknown_latency="estimate", latency_budget_ms=20.0)


def test_date_and_range_come_back_from_workbook_and_json(dated, tmp_path):
    plan = planner.plan(dated)
    assert [a.measured_at for a in plan.assignments] == ["2026-11-20T10:11:12", None]
    planner.write_json(plan, tmp_path / "plan.json")
    planner.write_workbook(dated, plan, tmp_path / "plan.xlsx")
    assert planner.read_plan(tmp_path / "plan.json") == plan
    back = planner.read_plan(tmp_path / "plan.xlsx")
    for one, other in zip(back.assignments, plan.assignments, strict=True):
        assert one.measured_at == other.measured_at
        assert (one.rtt_low_ms or 0) == pytest.approx(other.rtt_low_ms or 0)
    assert verify(dated, back) == ()
    headings = [cell.value for cell in openpyxl.load_workbook(tmp_path / "plan.xlsx")["Assignments"][1]]
    assert {"measured at", "RTT low ms", "RTT high ms"} <= set(headings)


@pytest.mark.parametrize(
    "change", [{"measured_at": "2026-11-21T10:11:12"}, {"rtt_low_ms": 3.0, "rtt_high_ms": 4.0}, {"rtt_low_ms": 3.0}]
)
def test_a_wrong_date_or_range_is_a_violation_and_a_missing_one_is_not(dated, change):
    plan = planner.plan(dated)
    for row in range(2):
        rows = list(plan.assignments)
        rows[row] = dataclasses.replace(rows[row], **change)
        assert "claim" in {v.code for v in verify(dated, plan.replace(assignments=tuple(rows)))}
    bare = [dataclasses.replace(a, measured_at=None, rtt_low_ms=None, rtt_high_ms=None) for a in plan.assignments]
    assert verify(dated, plan.replace(assignments=tuple(bare))) == ()


def test_air_distance_is_lengthened_and_route_length_is_not(fleet_of, rtts):
    links = {"from": ["A", "B", "C"], "to": ["X"] * 3, "km": [None, 400, None], "air_km": [400, 100, 10_000]}
    assert rtts(fleet_of("A B C", "X", links=links)) == {
        ("A", "X"): pytest.approx(6.0),  # LAT-4: 600 km of route, 3 ms one way
        ("B", "X"): pytest.approx(4.0),
        ("C", "X"): pytest.approx(125.0),  # LAT-2: 62.5 ms one way
    }
