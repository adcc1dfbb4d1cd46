"""What can be varied, how values are written, and what a wrong axis says."""

import numpy as np
import pytest

from planner.errors import InputError
from planner.scenarios.edits import changed_fleet
from planner.scenarios.sweep_results import Edit, Scenario
from planner.scenarios.values import expand
from planner.scenarios.vary import AS_IT_IS, axis_of, combined, notes_on


def test_a_range_includes_both_ends_and_has_no_rounding_noise():
    assert expand("20:80:5") == [str(n) for n in range(20, 81, 5)]
    assert expand("0.1:0.5:0.1") == ["0.1", "0.2", "0.3", "0.4", "0.5"]
    assert expand("+0:10:5,-5") == ["+0", "+5", "+10", "-5"]
    assert expand("10:24:5") == ["10", "15", "20"]


def test_values_that_are_listed_twice_count_once():
    assert expand("none,hub,none") == ["none", "hub"]


@pytest.mark.parametrize("text", ["20:10:5", "20:30:0", "1:1000000:1", "1..2:3:1"])
def test_a_range_without_an_end_is_refused(text):
    with pytest.raises(ValueError, match=r"never ends|steps|not a range"):
        expand(text)


def test_every_combination_comes_after_the_fleet_as_it_is():
    scenarios = combined(
        [axis_of("latency_budget_ms=20,30"), axis_of("cover=none,hub")], [Scenario("a"), Scenario("b")]
    )
    assert scenarios[0].name == AS_IT_IS
    assert len(scenarios) == 1 + 2 * 2 * 2
    assert scenarios[1].name == "a latency_budget_ms=20 cover=none"
    assert dict(scenarios[-1].axes) == {"latency_budget_ms": "30", "cover": "hub"}


@pytest.mark.parametrize(
    ("option", "words"),
    [
        ("latency_budget=20", "latency_budget_ms"),
        ("latency_budget_ms", "has no values"),
        ("latency_budget_ms=soon", "soon"),
        ("latency_budget_ms=0", "0"),
        ("cluster_cap=1.5", "whole"),
        ("cover=all", "none, host, hub"),
        ("sites.budget=20", "no column"),
        ("sites.site=20", "no column"),
        ("hubs.pool=x", "no column"),
        ("release_floor=new", "new"),
        ("latency_budget_ms=30:20:5", "never ends"),
    ],
)
def test_a_wrong_axis_is_named_with_what_is_wrong(option, words):
    with pytest.raises(InputError) as caught:
        axis_of(option)
    assert words in " ".join(map(str, caught.value.findings))


def test_an_axis_that_is_there_twice_is_refused():
    with pytest.raises(InputError, match="twice"):
        combined([axis_of("cover=none"), axis_of("cover=hub")], [])


def test_sites_with_a_budget_of_their_own_do_not_follow_the_setting(make):
    fleet = make.fleet([[10.0], [10.0]], sites={"latency_budget_ms": [30.0, np.nan]})
    axis = axis_of("latency_budget_ms=20")
    changed = changed_fleet(fleet, Scenario("x", tuple(axis[1])))
    assert changed.budgets_ms.tolist() == [30.0, 20.0]
    (note,) = notes_on(fleet, [axis])
    assert "1 of 2 sites state their own latency_budget_ms" in note.message
    assert "sites.latency_budget_ms" in note.hint
    assert notes_on(fleet, [axis_of("sites.latency_budget_ms=20")]) == []


@pytest.mark.parametrize(
    ("column", "value", "expected"),
    [
        ("latency_budget_ms", "x0.8", [24.0, 40.0]),  # the second site has the policy's 50
        ("latency_budget_ms", "-5", [25.0, 45.0]),
        ("latency_budget_ms", "20", [20.0, 20.0]),
        ("clusters", "x1.5", [2.0, 5.0]),  # 1.5 and 4.5, rounded up
        ("clusters", "+1", [2.0, 4.0]),
    ],
)
def test_relative_values_start_from_what_is_in_force(make, column, value, expected):
    fleet = make.fleet([[10.0], [10.0]], sites={"latency_budget_ms": [30.0, np.nan], "clusters": [np.nan, 3.0]})
    changed = changed_fleet(fleet, Scenario("x", (Edit("Sites", column, value),)))
    assert changed.sites[column].tolist() == expected


def test_caps_are_rounded_down_and_stay_within_their_limits(make):
    fleet = make.fleet([[10.0, 10.0]], pools={"cluster_cap": [33.0, 1.0]})
    changed = changed_fleet(fleet, Scenario("x", (Edit("Hubs", "cluster_cap", "x0.5"),)))
    assert changed.cluster_caps.tolist() == [16, 1]


def test_the_fleet_at_hand_stays_as_it_is(make):
    fleet = make.fleet([[10.0, 20.0]])
    before = (fleet.sites.copy(), fleet.pools.copy(), fleet.policy)
    edits = (Edit("Sites", "clusters", "3"), Edit("Hubs", "max_hosts", "1"), Edit("Policy", "cluster_cap", "8"))
    changed_fleet(fleet, Scenario("x", edits, closed_sites=(), closed_hubs=("H0",)))
    assert fleet.sites.equals(before[0])
    assert fleet.pools.equals(before[1])
    assert fleet.policy == before[2]
