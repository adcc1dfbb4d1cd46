"""Whether standbys may use the reserve while a loss lasts: small fleets against every plan, by both answers."""

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import planner
from planner.sizing import plan
from planner.verify import verify, verify_proof
from tests.arrays import fleet_of
from tests.sizing.test_cover_brute_force import as_fleet, brute_force, cases


@pytest.mark.parametrize("may_use", [False, True], ids=["kept_free", "used"])
@pytest.mark.parametrize("cover", ["host", "hub", "zone"])
def test_plan_is_the_best_of_all_plans(make, cover, may_use, examples):
    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases(cover, together=True), st.sampled_from([2, 4]))
    def check(case, cap):
        case["kept"], case["radius"] = [False] * len(case["kept"]), 99
        fleet = as_fleet(make, {**case, "cap": [cap] * len(case["cap"])})
        policy = fleet.policy.replace(reserve_percent=50.0, loss_uses_reserve=may_use)
        fleet = fleet.replace(policy=policy)
        result = plan(fleet)
        make.sound(fleet, result)
        assert verify_proof(fleet, result).verdict != "broken"
        of_day = {**case, "radius": cap // 2, "cap": [cap if may_use else cap // 2] * len(case["cap"])}
        assert make.covered(fleet, result, case["weight"]) == pytest.approx(brute_force(of_day)[1:])
        assert result.lower_bound == result.hosts
        noted = [v for v in verify(fleet, result) if v.code == "cover"]
        assert noted == []

    check()


def test_a_reserve_that_a_loss_may_use_saves_a_host():
    rooms = {"pools": {"cluster_cap": [4, 4, 4], "max_hosts": [1, 1, 1]}, "cover": "host", "reserve_percent": 50.0}
    sites = [[10.0, 10.0, 10.0]] * 4
    used = plan(fleet_of(sites, **rooms, loss_uses_reserve=True))
    free = plan(fleet_of(sites, **rooms))
    assert (used.hosts, free.hosts) == (2, 3)


@pytest.mark.parametrize(
    ("policy", "said"),
    [
        ({"reserve_percent": 10, "cover": "host"}, False),
        ({"reserve_percent": 10}, True),
        ({"cover": "host"}, True),
    ],
)
def test_a_setting_without_effect_is_told(policy, said):
    tables = {
        "Sites": pd.DataFrame({"site": ["A"], "latitude": [50.0], "longitude": [8.0]}),
        "Hubs": pd.DataFrame({"hub": ["X", "Y"], "latitude": [50.0, 51.0], "longitude": [9.0, 9.0]}),
    }
    settings_given = {"latency_budget_ms": 30, "unknown_latency": "estimate", "loss_uses_reserve": "yes", **policy}
    fleet = planner.fleet_from_tables(tables, settings_given)
    assert any(finding.code == "loss_uses_reserve_idle" for finding in fleet.findings) == said
