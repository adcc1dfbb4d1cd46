"""Scenario files: what they can say, and that all that is wrong is told at once."""

import pytest

import planner
from planner.errors import InputError
from planner.scenarios.edits import changed_fleet
from planner.scenarios.scenario_file import read_scenarios
from planner.scenarios.sweep_results import Growth, Scenario

GOOD = """
[scenario.tight]
policy = { latency_budget_ms = 30, release_floor = "8.10", split_sites = true }

[scenario.spring]
grow = { sites = 2, clusters = 3, seeds = [1, 2] }

[scenario.moves]
sites = { "region=North" = { clusters = "x2" }, S00 = { barred_hubs = ["H1"] } }
hubs = { H0 = { max_hosts = 6 } }
close_sites = ["S01"]
close_hubs = ["H1"]
add_hubs = [{ hub = "NEW", max_hosts = 4, rtt_like = "H0" }]

[combine]
both = ["tight", "spring"]
"""


@pytest.fixture
def fleet(make):
    return make.fleet(
        [[10.0, 20.0]] * 3, sites={"region": ["North", "South", "South"], "pinned_hub": ["", "", "H1"]}, cluster_cap=8
    )


def write(tmp_path, text):
    path = tmp_path / "what_if.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_names_seeds_and_combinations(tmp_path):
    scenarios = read_scenarios(write(tmp_path, GOOD))
    names = ["tight", "spring seed=1", "spring seed=2", "moves", "both seed=1", "both seed=2"]
    assert [scenario.name for scenario in scenarios] == names
    both = scenarios[-1]
    assert (both.growth.sites, both.growth.clusters, both.growth.seed) == (2, 3, 2)
    assert {edit.column for edit in both.edits} == {"latency_budget_ms", "release_floor", "split_sites"}


def test_a_scenario_changes_the_fleet_as_it_says(tmp_path, fleet):
    by_name = {s.name: s for s in read_scenarios(write(tmp_path, GOOD))}
    tight = changed_fleet(fleet, by_name["tight"])
    assert (tight.policy.latency_budget_ms, tight.policy.release_floor, tight.policy.split_sites) == (
        30.0,
        "8.10",
        True,
    )
    moved = changed_fleet(fleet, by_name["moves"])
    assert moved.site_ids == ("S00", "S02")
    assert moved.clusters.tolist() == [2, 1]
    assert moved.sites["barred_hubs"].tolist() == [("H1",), ()]
    assert dict(zip(moved.pool_ids, moved.max_hosts, strict=True)) == {"H0": 6, "H1": 0, "NEW": 4}
    plan = planner.plan(moved)
    # The site that is pinned to the closed hub stays pinned to it.
    assert [u.site for u in plan.unserved] == ["S02"]
    assert {reason.code for reason in plan.unserved[0].reasons} >= {"pinned_hub", "capacity"}


def test_random_growth_repeats_with_its_seed_and_copies_sites_with_their_latencies(tmp_path, fleet):
    first, again, other = (changed_fleet(fleet, read_scenarios(write(tmp_path, GOOD))[i]) for i in (1, 1, 2))
    assert first.sites.equals(again.sites)
    assert not first.sites.equals(other.sites)
    assert len(first.sites) == 5
    assert first.clusters.sum() == fleet.clusters.sum() + 2 + 3
    rtt = first.latency.groupby("site", observed=True)["rtt_ms"].apply(list)
    assert rtt["NEW-0001"] == [10.0, 20.0]


def test_new_sites_are_in_nobodys_service_today(make):
    fleet = make.fleet([[10.0]], current={"site": ["S00"], "hub": ["H0"], "host": ["H0-01"]})
    grown = changed_fleet(fleet, Scenario("x", growth=Growth(sites=3)))
    assert list(grown.current["site"]) == ["S00"]
    assert {a.action for a in planner.plan(grown).assignments if a.site.startswith("NEW")} == {"attach"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[scenario.a]\npolicy = { latency_budget = 3 }", "latency_budget_ms"),
        ("[scenario.a]\npolicy = { release_floor = 8.1 }", "Quote it"),
        ("[scenario.a]\npolicy = { latency_budget_ms = 'soon' }", "soon"),
        ("[scenario.a]\npolice = {}", "policy"),
        ("[scenario.a]\nsites = { S00 = 3 }", "table of columns"),
        ("[scenario.a]\nsites = { S00 = { site = 'B' } }", "cannot be changed"),
        ("[scenario.a]\nclose_sites = [42]", "quotation marks"),
        ("[scenario.a]\ngrow = { sites = -1 }", "whole numbers"),
        ("[scenario.a]\ngrow = { sites = 1, seeds = [] }", "whole numbers"),
        ("[scenario.a]\nadd_hubs = [{ hub = 'N', colour = 'red' }]", "no column of Hubs"),
        ("[scenario.a]\n[combine]\nb = ['c']", "list of scenarios"),
        ("[scenario.a]\n[combine]\na = ['a']", "already"),
        ("[senario.a]", "is not known"),
        ("", "names no scenario"),
        ("[scenario", "not TOML"),
    ],
)
def test_what_is_wrong_is_told(tmp_path, text, words):
    with pytest.raises(InputError) as caught:
        read_scenarios(write(tmp_path, text))
    assert words in " ".join(map(str, caught.value.findings))
    assert all(finding.file == "what_if.toml" for finding in caught.value.findings)


def test_all_that_is_wrong_is_told_at_once(tmp_path):
    text = "[scenario.a]\npolicy = { cluster_cap = 0, cover = 'all' }\nclose_hubs = 'H1'"
    with pytest.raises(InputError) as caught:
        read_scenarios(write(tmp_path, text))
    assert len(caught.value.findings) == 3


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_scenarios(tmp_path / "none.toml")
