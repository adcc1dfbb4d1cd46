"""A latency budget of its own while a loss lasts: small fleets against every plan, and what outputs say of it."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings

import planner
from planner.sizing import plan
from planner.verify import verify_proof
from tests.arrays import fleet_of
from tests.sizing.test_cover_brute_force import as_fleet, brute_force, cases

BEYOND_MS = 51.0  # the cases have times of 10, 50 and 51 ms, and a budget of 50 ms


@pytest.mark.parametrize("together", [False, True], ids=["single", "kept_together"])
@pytest.mark.parametrize("cover", ["host", "hub", "zone"])
def test_plan_is_the_best_of_all_plans(make, cover, together, examples):
    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases(cover, together=together))
    def check(case):
        case["kept"] = [False] * len(case["kept"])
        fleet = as_fleet(make, case)
        fleet = fleet.replace(policy=fleet.policy.replace(loss_latency_budget_ms=BEYOND_MS))
        result = plan(fleet)
        make.sound(fleet, result)
        assert verify_proof(fleet, result).verdict != "broken"
        assert make.covered(fleet, result, case["weight"]) == pytest.approx(brute_force({**case, "far": BEYOND_MS})[1:])
        assert result.lower_bound == result.hosts

    check()


# A and B are near hubs H0 and H1. From C only H1 is in the daily budget of 50 ms, H0 is at 70 ms.
TIMES = [[10.0, 20.0], [20.0, 10.0], [70.0, 10.0]]


@pytest.mark.parametrize("cover", ["host", "hub"])
def test_a_site_that_no_second_hub_can_take_every_day_is_covered_while_a_loss_lasts(cover):
    rooms = {"pools": {"max_hosts": [1, 1]}, "cover": cover}
    strict = plan(fleet_of(TIMES, **rooms))
    loose = plan(fleet_of(TIMES, **rooms, loss_latency_budget_ms=70.0))
    assert [entry.site for entry in strict.uncovered] == ["S02"]
    assert not loose.uncovered
    (row,) = (row for row in loose.assignments if row.site == "S02")
    assert (row.host, row.standby, row.standby_rtt_ms) == ("H1-01", "H0-01", 70.0)


def test_the_budget_of_a_loss_is_that_of_the_site_then_that_of_the_policy_and_never_below_the_daily_one():
    sites = {"loss_latency_budget_ms": [80.0, np.nan, 30.0], "latency_budget_ms": [np.nan, 90.0, 40.0]}
    assert fleet_of(TIMES, sites=sites).loss_budgets_ms.tolist() == [80.0, 90.0, 40.0]
    assert fleet_of(TIMES, sites=sites, loss_latency_budget_ms=95.0).loss_budgets_ms.tolist() == [80.0, 95.0, 40.0]


def test_nobody_lives_where_it_may_only_stand_by():
    fleet = fleet_of([[60.0, 10.0]] * 4, pools={"cluster_cap": [9, 2], "max_hosts": [1, 1]}, cover="hub")
    made = plan(fleet.replace(policy=fleet.policy.replace(loss_latency_budget_ms=60.0)))
    assert {row.host for row in made.assignments} == {"H1-01"}
    assert len(made.unserved) == 2


def test_a_drill_holds_a_standby_to_the_budget_of_a_loss():
    """The only link from S to its standby's hub grows to 70 ms; 60 ms are too few for that, 80 ms are not."""
    tables = {
        "Sites": pd.DataFrame({"site": ["S"]}),
        "Hubs": pd.DataFrame({"hub": ["H", "J"], "max_hosts": [1, 1]}),
        "Links": pd.DataFrame(
            {
                "from": ["S", "S", "J", "K"],
                "to": ["H", "J", "K", "S"],
                "latency_ms": [5.0, 25.0, 15.0, 20.0],
            }
        ),
    }
    outcomes = {}
    for most in (60.0, 80.0):
        fleet = planner.fleet_from_tables(
            tables, {"latency_budget_ms": 40, "loss_latency_budget_ms": most, "cover": "hub"}
        )
        (row,) = planner.plan(fleet).assignments
        assert (row.host, row.standby, row.standby_rtt_ms) == ("H-01", "J-01", 50.0)
        drill = planner.drill(fleet, planner.plan(fleet), lose=["H", "link:J--S"]).drill
        (displaced,) = drill.displaced
        outcomes[most] = displaced.outcome
    assert outcomes[80.0] == "rehomed"
    assert outcomes[60.0] != "rehomed"
