"""Measure first: against brute force on small fleets, and what it must not say."""

import itertools
import signal
import sys
from importlib import import_module

import numpy as np
import pytest

import planner
from planner import columns
from planner.explain import bench, pairs_to_measure
from planner.explain.assumed import assumed, open_pairs
from planner.fleet import typed_table
from planner.outputs.plan_json import plan_to_json
from planner.outputs.read_json import plan_from_json
from planner.rules import Checker
from planner.sizing import SolveBudget

saving_pairs = import_module("planner.explain.saving_pairs")


def figures(plan):
    return len(plan.unserved), plan.hosts


def modelled(fleet, pairs):
    """The fleet with ``pairs`` modelled by a link each, and out of the Latency sheet."""
    table = fleet.latency
    measured = [pair not in pairs for pair in zip(table["site"], table["hub"], strict=True)]
    rtt = dict(zip(zip(table["site"], table["hub"], strict=True), table["rtt_ms"], strict=True))
    links = {
        "from": [f"{site}" for site, _ in pairs],
        "to": [hub for _, hub in pairs],
        "latency_ms": [rtt[pair] / 2 for pair in pairs],
    }
    return fleet.replace(latency=table[measured].reset_index(drop=True), links=typed_table(columns.LINKS, links))


def random_fleet(make, seed, unknown):
    rng = np.random.default_rng(seed)
    rtt = rng.choice([20.0, 30.0, 80.0], (9, 3), p=[0.4, 0.2, 0.4])
    rtt[rng.random(rtt.shape) < unknown] = np.nan
    return make.fleet(rtt, cluster_cap=int(rng.integers(3, 6)), pools={"max_hosts": [2, 2, 2]})


@pytest.mark.parametrize("seed", range(8))
def test_pairs_in_use_that_would_hurt_are_those_that_planning_without_each_finds(make, seed):
    fleet = random_fleet(make, seed, unknown=0.0)
    # One hub is only modelled, and each of its links leads to that hub alone, so that no path uses another's link.
    pairs = [(site, "H0") for site in fleet.site_ids]
    fleet = modelled(fleet, pairs)
    plan = planner.plan(fleet)
    found = pairs_to_measure(fleet, plan, time_limit=None)
    used = [(a.site, a.hub) for a in plan.assignments if a.evidence == "modelled"]
    hurt = set()
    for pair in used:
        after = planner.plan(assumed(fleet, [pair], "beyond"))
        if figures(after) > figures(plan):
            hurt.add(pair)
    alone = {(row.site, row.hub) for row in found if row.outcome == "beyond" and row.together == 1}
    assert alone == hurt
    everything = planner.plan(assumed(fleet, used, "beyond")) if used else plan
    assert bool([row for row in found if row.outcome == "beyond"]) == (figures(everything) > figures(plan))


@pytest.mark.parametrize("seed", range(8))
def test_unknown_pairs_that_would_help_are_as_few_as_planning_every_set_finds(make, seed):
    fleet = random_fleet(make, seed, unknown=0.25)
    plan = planner.plan(fleet)
    found = [row for row in pairs_to_measure(fleet, plan, time_limit=None) if row.outcome == "within"]
    candidates = list(open_pairs(fleet, Checker(fleet)).named(fleet))
    for row in found:
        group = [(r.site, r.hub) for r in found if r.rank == row.rank]
        after = planner.plan(assumed(fleet, group, "within"))
        assert len(group) == row.together
        assert (row.unserved, row.hosts) == figures(after)
        assert figures(after) < figures(plan) or len(after.unserved) < len(plan.unserved)
    if plan.unserved:
        return
    fewest = next(
        (
            size
            for size in (1, 2)
            for group in itertools.combinations(candidates, size)
            if figures(planner.plan(assumed(fleet, list(group), "within"))) < figures(plan)
        ),
        None,
    )
    if fewest is not None:
        assert min(row.together for row in found) == fewest
    else:
        assert all(row.together > 2 for row in found)


@pytest.mark.parametrize("counts", [2, 10_000])
@pytest.mark.parametrize("seed", range(3))
def test_sets_and_counts_find_groups_as_small_as_the_flow_model_finds(make, monkeypatch, seed, counts):
    rng = np.random.default_rng(seed)
    rtt = rng.choice([20.0, 80.0], (60, 6), p=[0.05, 0.95])
    rtt[rng.random(rtt.shape) < 0.2] = np.nan
    rtt[np.arange(60), rng.integers(0, 6, 60)] = 20.0
    clusters = rng.integers(1, 4, 60)
    fleet = make.fleet(rtt, cluster_cap=12, sites={"clusters": clusters}, pools={"max_hosts": [20] * 6})
    plan = planner.plan(fleet)
    assert plan.proof.kind in ("counting", "search")
    by_flow = pairs_to_measure(fleet, plan, time_limit=None)
    monkeypatch.setattr(saving_pairs, "_FEW_PAIRS", 0)
    monkeypatch.setattr(saving_pairs, "_COUNTS", counts)
    by_sets = pairs_to_measure(fleet, plan, time_limit=None)
    assert by_sets
    told = [sorted({(row.rank, row.together, row.hosts) for row in found}) for found in (by_sets, by_flow)]
    assert told[0] == told[1]


def test_an_unknown_pair_that_would_serve_a_site_is_named(make):
    fleet = make.fleet([[10.0, 10.0], [np.nan, 80.0]])
    (row,) = pairs_to_measure(fleet, planner.plan(fleet))
    assert (row.site, row.hub, row.evidence, row.rtt_ms) == ("S1", "H0", "unknown", None)
    assert (row.outcome, row.unserved, row.rank) == ("within", 0, 1)
    assert row.words == "If it is within its budget, S1 would be served."


def test_a_pair_too_far_for_light_in_fibre_is_not_proposed(make):
    places = {"latitude": [50.0, 50.0], "longitude": [0.0, 0.0]}
    hubs = {"latitude": [50.0], "longitude": [100.0]}
    fleet = make.fleet([[10.0], [np.nan]], sites=places, pools=hubs)
    assert not len(open_pairs(fleet, Checker(fleet)))
    assert pairs_to_measure(fleet, planner.plan(fleet)) == ()


def test_a_pair_whose_evidence_or_age_the_policy_refuses_may_help_if_measured(make):
    fleet = make.fleet([[10.0, 80.0], [10.0, 80.0]], accepted_evidence="measured")
    fleet = modelled(fleet, [("S1", "H0")])
    (row,) = pairs_to_measure(fleet, planner.plan(fleet))
    assert (row.site, row.evidence, row.rtt_ms, row.outcome) == ("S1", "modelled", 10.0, "within")
    old = make.fleet([[10.0]], max_age_days=30, old_latency="ineligible", as_of="2026-11-25")
    (row,) = pairs_to_measure(old, planner.plan(old))
    assert (row.site, row.evidence, row.rtt_ms) == ("S0", "measured", 10.0)


def test_a_fleet_that_is_measured_throughout_has_nothing_to_measure(twelve_sites):
    assert pairs_to_measure(twelve_sites, planner.plan(twelve_sites)) == ()


def test_no_time_gives_nothing_and_does_not_raise(make):
    fleet = make.fleet([[10.0, 10.0], [np.nan, 80.0]])
    assert pairs_to_measure(fleet, planner.plan(fleet), time_limit=0.0) == ()


def test_the_list_travels_through_json_workbook_and_explanation(make, tmp_path):
    import openpyxl

    fleet = make.fleet([[10.0, 10.0], [np.nan, 80.0]])
    plan = planner.plan(fleet)
    plan = plan.replace(measure_first=pairs_to_measure(fleet, plan))
    back, findings = plan_from_json(plan_to_json(plan).encode(), "plan.json")
    assert (back, findings) == (plan, [])
    planner.write_workbook(fleet, plan, tmp_path / "plan.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "plan.xlsx")["Measure first"]
    assert [cell.value for cell in sheet[2]][:4] == [1, "S1", None, "H0"]
    assert planner.explain(fleet).measure_first == plan.measure_first


def test_an_estimate_whose_whole_range_is_within_the_budget_is_called_unlikely_to_hurt(make):
    near = {"latitude": [50.0], "longitude": [0.0]}
    fleet = make.fleet(
        [[np.nan]], sites=near, pools={"latitude": [50.5], "longitude": [0.0]}, unknown_latency="estimate"
    )
    (row,) = pairs_to_measure(fleet, planner.plan(fleet))
    assert (
        row.words
        == "If it is beyond its budget, S0 would be unserved. Unlikely: the range of the estimate ends at 6.67 ms."
    )
    tight = fleet.replace(policy=fleet.policy.replace(latency_budget_ms=6.0))
    (row,) = pairs_to_measure(tight, planner.plan(tight))
    assert row.words == "If it is beyond its budget, S0 would be unserved."


def test_no_pair_is_looked_for_where_fewer_hosts_had_no_room_for_all(make, monkeypatch):
    """Five sites on two hosts of three places: one host had too few, whatever measurements say."""
    fleet = make.fleet([[10.0, np.nan]] * 5, cluster_cap=3, pools={"max_hosts": [2, 2]})
    plan = planner.plan(fleet)
    monkeypatch.setattr(
        sys.modules["planner.explain.measure"], "open_pairs", lambda *_: pytest.fail("looked for pairs")
    )
    assert pairs_to_measure(fleet, plan) == ()
    fleet = make.fleet([[10.0, np.nan], [np.nan, 10.0]], cluster_cap=3)
    with pytest.raises(pytest.fail.Exception, match="looked for pairs"):
        pairs_to_measure(fleet, planner.plan(fleet))


def test_ctrl_c_ends_the_plan_within_a_search_at_once_though_it_tells_no_progress(monkeypatch):
    heard = []

    def plan_that_tells_nothing(*_fleet, **_limits):
        own = SolveBudget()
        with own.listening():
            signal.raise_signal(signal.SIGINT)
            heard.append(own.spent)

    monkeypatch.setattr(bench, "make_plan", plan_that_tells_nothing)
    budget = SolveBudget()
    with budget.listening():
        bench.planned(planner.read_fleet("sample_fleets/twelve_sites.xlsx"), budget)
    assert heard == [True]
    assert budget.spent
