"""A question of the page makes the fleet that people mean by it."""

import numpy as np
import pytest

from planner.desk.question import Question
from planner.errors import InputError
from tests.arrays import fleet_of


@pytest.fixture
def fleet():
    sites = {"region": ["North", "North", "South"], "latency_budget_ms": [10.0, np.nan, 30.0]}
    current = {"site": ["S00"], "hub": ["H0"], "host": ["H0-01"]}
    return fleet_of([[5, 6], [5, 6], [5, 6]], sites=sites, current=current, latency_budget_ms=20.0)


def test_no_change_is_the_fleet_as_it_was_read(fleet):
    assert Question.of({}).fleet(fleet) is fleet
    assert Question.of({}).words() == ()


def test_settings_are_read_as_cells_are(fleet):
    asked = Question.of({"settings": {"cluster_cap": " 48 ", "cover": "hub", "release_floor": "8.10"}}).fleet(fleet)
    assert (asked.policy.cluster_cap, asked.policy.cover, asked.policy.release_floor) == (48, "hub", "8.10")
    assert fleet.policy.cluster_cap == 64


def test_budgets_of_a_region_count_on_top_of_those_of_all(fleet):
    asked = Question.of({"budgets": {"*": 90, "North": 50}}).fleet(fleet)
    assert asked.budgets_ms == pytest.approx([4.5, 9.0, 27.0])


def test_budgets_have_no_binary_dust_so_that_a_time_at_the_limit_stays_within(fleet):
    assert 12.0 * 1.2 != 14.4
    sites = fleet.sites.assign(latency_budget_ms=12.0)
    asked = Question.of({"budgets": {"*": 120}}).fleet(fleet.replace(sites=sites))
    assert set(asked.budgets_ms) == {14.4}


def test_a_shut_hub_runs_no_host_and_a_drained_one_none_that_is_not_there(fleet):
    assert Question.of({"shut": ["H0"]}).fleet(fleet).max_hosts.tolist()[0] == 0
    drained = Question.of({"drained": ["H0"]}).fleet(fleet)
    assert drained.max_hosts[0] == 0
    assert drained.max_hosts[1] > 0


def test_growth_draws_the_same_sites_each_time(fleet):
    asked = [Question.of({"grow": {"sites": 2, "clusters": 1}}).fleet(fleet) for _ in range(2)]
    assert len(asked[0].site_ids) == 5
    assert asked[0].sites.equals(asked[1].sites)
    assert int(asked[0].clusters.sum()) == 6


def test_an_edit_reaches_the_row_that_it_names(fleet):
    edit = {"sheet": "Sites", "column": "latency_budget_ms", "value": "44", "rows": "S02"}
    assert Question.of({"edits": [edit]}).fleet(fleet).budgets_ms.tolist() == [10.0, 20.0, 44.0]


@pytest.mark.parametrize(
    "plain",
    [
        [],
        {"settings": {"__class__": "x"}},
        {"settings": []},
        {"budgets": {"*": "many"}},
        {"budgets": {"*": 0}},
        {"budgets": {"*": float("inf")}},
        {"grow": {"sites": -1}},
        {"grow": {"sites": 1e300}},
        {"grow": {"sites": 10**9}},
        {"shut": "H0"},
        {"edits": [{"sheet": "Policy", "column": "no_such"}]},
        {"edits": [{"sheet": "Latency", "column": "rtt_ms"}]},
        {"edits": ["x"]},
    ],
)
def test_what_asks_nothing_is_refused(plain):
    with pytest.raises(InputError):
        Question.of(plain)


@pytest.mark.parametrize(
    "plain",
    [
        {"settings": {"cluster_cap": "-3"}},
        {"settings": {"cover": "everything"}},
        {"settings": {"cluster_cap": "=1+1"}},
        {"shut": ["NOWHERE"]},
        {"drained": ["NOWHERE"]},
        {"budgets": {"West": 50}},
        {"edits": [{"sheet": "Sites", "column": "clusters", "value": "two"}]},
    ],
)
def test_what_no_fleet_can_be_is_refused_with_words(plain, fleet):
    with pytest.raises(InputError) as error:
        Question.of(plain).fleet(fleet)
    assert error.value.findings[0].message
