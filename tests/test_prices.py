"""Prices: one meaning of each in plans, sweeps, designs and the horizon."""

import datetime as dt

import numpy as np
import pytest

from planner import columns
from planner.errors import InputError
from planner.fleet import typed_table
from planner.intake import fleet_from_tables
from planner.scenarios.designs.compare_designs import MIX, SHARED, compare_designs
from planner.scenarios.horizon.plan_horizon import horizon
from planner.scenarios.sweep_results import Scenario
from planner.scenarios.task import Options, Shared, solve
from planner.sizing import plan, plan_frozen
from planner.verify import verify
from tests.arrays import fleet_of

# A host: 1,000 to buy; in a year 100 of licence, 50 W at 0.25 for 8.76 kWh a watt, 0.5 visits at 40.
PRICES = {
    "item": ["host", "own_tie_breaker"],
    "buy": [1000.0, 300.0],
    "yearly": [100.0, 20.0],
    "watts": [50.0, np.nan],
    "visits": [0.5, np.nan],
}
RUNNING = 100 + 50 * 8.76 * 0.25 + 0.5 * 40
# Over three years at 25 %, 1 a year at the start of each is worth 1 + 0.8 + 0.64 today.
WORTH = 1 + 0.8 + 0.64


def priced(rtt, **more):
    policy = {"objective": "cost", "years": 3.0, "discount_percent": 25.0, "kwh_cost": 0.25, "visit_cost": 40.0}
    fleet = fleet_of(rtt, **{**policy, **more})
    return fleet.replace(prices=typed_table(columns.PRICES, PRICES))


def test_objective_cost_takes_what_is_not_stated_from_the_sheet_prices():
    """It was refused: "no host_cost is given here or in the policy"."""
    fleet = priced([[10.0]] * 3, cluster_cap=2)
    made = plan(fleet)
    assert made.hosts == 2
    assert made.objective_value == pytest.approx(2 * (RUNNING + 1000 / WORTH))
    assert made.lower_bound == made.objective_value
    assert not verify(fleet, made)


def test_host_cost_is_a_year_of_running_and_buying_is_in_prices():
    fleet = priced([[10.0]] * 3, cluster_cap=2, pools={"host_cost": [70.0]})
    made = plan(fleet)
    assert made.objective_value == pytest.approx(2 * (70 + 1000 / WORTH))
    assert not verify(fleet, made)
    (step,) = horizon(fleet, dt.date(2027, 1, 1), periods=1).steps
    assert step.cost == pytest.approx(2 * (1000 + 70))
    (costs,) = [design.costs for design in compare_designs(fleet).designs if design.name == SHARED]
    assert (costs.buy, costs.yearly) == pytest.approx((2 * 1000, 2 * 70 * WORTH))


def test_an_own_tie_breaker_is_weighed_by_prices_for_each_cluster():
    fleet = priced([[10.0]] * 2, cluster_cap=9, sites={"own_tie_breaker": ["possible"] * 2, "clusters": [1.0, 2.0]})
    made = plan(fleet)
    assert made.hosts == 0
    assert made.objective_value == pytest.approx(3 * (20 + 300 / WORTH))
    assert not verify(fleet, made)


def test_a_plan_a_sweep_and_designs_tell_one_cost():
    """The same fleet cost 12,560 in designs and 13,340 in a sweep."""
    fleet = priced(
        [[10.0, 20.0]] * 5, pools={"host_cost": [500.0, np.nan], "cluster_cap": [4, 3]}, costs=[[1.0, 2.0]] * 5
    )
    made = plan(fleet)
    found = {design.name: design for design in compare_designs(fleet).designs}
    assert found[SHARED].a_year == pytest.approx(made.objective_value)
    assert found[SHARED].costs.total == pytest.approx(made.objective_value * WORTH)
    point = solve(Scenario("as it is"), Shared(fleet, Options()))
    assert point.figures.cost == pytest.approx(made.objective_value)
    possible = fleet.replace(sites=fleet.sites.assign(own_tie_breaker="possible"))
    mixed = {design.name: design for design in compare_designs(possible).designs}[MIX]
    assert mixed.a_year == pytest.approx(plan(possible).objective_value)


def test_what_nothing_makes_small_is_not_told_of_a_scenario():
    """A sweep told new hosts and costs of any plan with as few hosts: not those of `plan`."""
    fleet = priced([[10.0]] * 3, objective="hosts")
    bare = solve(Scenario("as it is"), Shared(fleet, Options())).figures
    assert (bare.new_hosts, bare.hubs, bare.cost, bare.moves) == (None, None, None, None)
    whole = solve(Scenario("as it is"), Shared(fleet, Options(later_aims=True))).figures
    made = plan(fleet)
    assert whole.new_hosts == sum(not host.existing for host in made.host_list)
    assert whole.hubs == len({host.hub for host in made.host_list})
    assert whole.cost == pytest.approx(made.hosts * (RUNNING + 1000 / WORTH))
    adding = fleet.replace(policy=fleet.policy.replace(objective="new_hosts"))
    new = solve(Scenario("as it is"), Shared(adding, Options()))
    assert new.figures.new_hosts == 1


def test_frozen_plans_count_the_price_of_buying_once():
    fleet = priced(
        [[10.0]] * 3,
        cluster_cap=2,
        pools={"existing_hosts": [1.0]},
        current={"site": ["S00"], "hub": ["H0"], "host": ["H0-01"]},
    )
    made = plan_frozen(fleet)
    assert made.objective_value == pytest.approx(plan(fleet).objective_value)
    assert not verify(fleet, made)


def test_a_price_that_is_nowhere_is_asked_for():
    bare = fleet_of([[10.0]])
    tables = {"Sites": bare.sites, "Hubs": bare.pools}
    with pytest.raises(InputError, match=r"nor a host in Prices"):
        fleet_from_tables(tables, {"objective": "cost", "latency_budget_ms": 20})
    prices = typed_table(columns.PRICES, {"item": ["host"], "yearly": [10.0]})
    fleet = fleet_from_tables({**tables, "Prices": prices}, {"objective": "cost", "latency_budget_ms": 20})
    assert fleet.host_costs.tolist() == [10.0]
