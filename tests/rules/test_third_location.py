"""The third location: a hub lies in the failure zones of all its rows, whatever pool the vote would stand in."""

import dataclasses

import pandas as pd

import planner


def fleet_of_two_rows(site_zone: str) -> planner.Fleet:
    return planner.fleet_from_tables(
        {
            "Sites": pd.DataFrame({"site": ["S0"], "zone": [site_zone]}),
            "Hubs": pd.DataFrame({"hub": ["H", "H"], "pool": ["a", "b"], "zone": ["grid-a", ""]}),
            "Latency": pd.DataFrame({"site": ["S0"], "hub": ["H"], "rtt_ms": [5.0]}),
        },
        {"latency_budget_ms": 20},
    )


def test_zone_of_one_row_counts_for_all_pools_of_the_hub():
    plan = planner.plan(fleet_of_two_rows("grid-a"))
    (left_out,) = plan.unserved
    assert [reason.code for reason in left_out.reasons] == ["third_location"]
    assert left_out.reasons[0].detail == "hub H is in the same failure zone: grid-a"


def test_verify_says_so_of_a_plan_that_uses_the_other_pool():
    plan = planner.plan(fleet_of_two_rows("grid-b"))
    in_b = tuple(dataclasses.replace(host, pool="b") for host in plan.host_list)
    found = planner.verify(fleet_of_two_rows("grid-a"), plan.replace(host_list=in_b))
    assert [(violation.code, violation.where) for violation in found] == [("third_location", "site S0")]
