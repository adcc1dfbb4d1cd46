"""Which pool a host of today is of: one reading for plans and rollouts, and a question where it is not clear."""

import dataclasses
import itertools
import random

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planner
from planner.outputs.repaired import write_repaired
from planner.running import _alternatives, _matched, running_hosts
from planner.sizing import drained, plan_frozen
from planner.verify import verify, verify_rollout

SITES = [f"S{i}" for i in range(5)]


def fleet_of(hosts, *, caps=(6, 8), releases=("9.0", "9.0"), pools=("alpha", "big"), sites=None, hubs=None, **current):
    """Five sites at the hub H, which has two pools of one host each; ``hosts`` names the host of each site."""
    hub_columns = {"host_release": releases, "cluster_cap": caps, "existing_hosts": 1, "max_hosts": 1, **(hubs or {})}
    tables = {
        "Sites": pd.DataFrame({"site": SITES, "release": "9.0", **(sites or {})}),
        "Hubs": pd.DataFrame({"hub": "H", "pool": pools, **hub_columns}),
        "Latency": pd.DataFrame({"site": SITES, "hub": "H", "rtt_ms": 5.0}),
        "Current": pd.DataFrame({"site": SITES, "hub": "H", "host": hosts, **current}),
    }
    return planner.fleet_from_tables(tables, {"latency_budget_ms": 20})


def actions(plan):
    return [row.action for row in plan.assignments]


def test_a_host_stays_in_the_only_pool_whose_release_and_cap_fit_its_sites():
    fleet = fleet_of(["b-01"] * 5, caps=(2, 8), releases=("8.9", "9.0"))
    assert fleet.findings == ()
    plan = planner.plan(fleet)
    assert [(host.host, host.pool) for host in plan.host_list] == [("b-01", "big")]
    assert actions(plan) == ["keep"] * 5
    steps = [step for wave in planner.roll_out(fleet, plan).waves for step in wave.steps]
    assert [(step.kind, step.host) for step in steps] == [("host_retire", "H-01")]
    assert verify(fleet, plan) == ()


def test_a_stated_pool_counts_and_asks_nothing():
    fleet = fleet_of(["x"] * 5, pool="big")
    assert fleet.findings == ()
    assert running_hosts(fleet).pool == {("H", "x"): "big"}
    assert [(host.host, host.pool) for host in planner.plan(fleet).host_list] == [("x", "big")]


@pytest.mark.parametrize(
    ("fleet", "code", "words"),
    [
        (lambda: fleet_of(["x"] * 5), "host_pool_unclear", "1 host (x)"),
        (lambda: fleet_of(["x"] * 5, caps=(3, 4)), "host_pool_none", "big"),
        (lambda: fleet_of(["alpha-1"] * 5, caps=(3, 8)), "host_pool_none", "alpha"),
        (lambda: fleet_of([""] * 5), "site_pool_unclear", "5 sites (S0"),
    ],
)
def test_what_is_not_clear_is_asked(fleet, code, words):
    (finding,) = fleet().findings
    assert (finding.code, finding.severity, finding.where) == (code, "warning", "Current!C2")
    assert words in finding.message
    assert "column pool" in finding.hint or "at least pool" in finding.hint


@pytest.mark.parametrize(
    "fleet",
    [
        lambda: fleet_of(["big-01"] * 5),  # the name says it
        lambda: fleet_of(["x"] * 5, hubs={"retiring_hosts": ["x", ""]}),  # so does the list of hosts to be emptied
        lambda: fleet_of(["x"] * 5, caps=(6, 6)),  # pools that differ in nothing but their names
        lambda: fleet_of(["x"] * 5, hubs={"serves_regions": ["North", "South"]}, sites={"region": "North"}),
        lambda: fleet_of(["x"] * 5, hubs={"existing_hosts": [0, 1]}),  # alpha has none
        lambda: fleet_of(["x"] * 5, caps=(5, 4)),
        lambda: fleet_of(["x", "x", "x", "y", "y"], caps=(2, 3)),  # y fits both, and x leaves it one
    ],
)
def test_what_is_clear_is_not_asked(fleet):
    assert [f for f in fleet().findings if "pool" in f.code] == []


def test_a_site_without_a_named_host_moves_where_it_leaves_its_stated_pool():
    full = {"max_hosts": [0, 1], "existing_hosts": [0, 1]}
    assert actions(planner.plan(fleet_of([""] * 5, hubs=full, pool="big"))) == ["keep"] * 5
    left = fleet_of([""] * 5, hubs={**full, "existing_hosts": [1, 1]}, pool="alpha")
    plan = planner.plan(left)
    assert actions(plan) == ["move"] * 5
    assert verify(left, plan) == ()
    rollout = planner.roll_out(left, plan)
    assert {step.kind for wave in rollout.waves for step in wave.steps} == {"move", "host_retire"}
    assert verify_rollout(left, plan, rollout) == ()


def test_every_command_goes_by_the_same_pools():
    fleet = fleet_of(["x", "x", "x", "y", "y"], caps=(3, 3), pool=["big"] * 3 + [""] * 2)
    assert running_hosts(fleet).pool == {("H", "x"): "big", ("H", "y"): "alpha"}
    for made in (planner.plan(fleet), plan_frozen(fleet)):
        assert [(host.host, host.pool) for host in made.host_list] == [("y", "alpha"), ("x", "big")]
        assert actions(made) == ["keep"] * 5
        assert verify(fleet, made) == ()
    assert list(drained(fleet, ["y"]).pools["retiring_hosts"]) == [("y",), ()]
    assert [wave.steps for wave in planner.roll_out(fleet, planner.plan(fleet)).waves] == []


def test_the_second_reading_finds_a_host_in_another_pool_and_one_too_many_called_existing():
    fleet = fleet_of(["b-01"] * 5, caps=(2, 8), releases=("8.9", "9.0"))
    plan = planner.plan(fleet)
    (host,) = plan.host_list
    stated = fleet.replace(current=fleet.current.assign(pool="alpha"))
    assert {v.code for v in verify(stated, plan)} == {"current"}
    renamed = plan.replace(
        host_list=(dataclasses.replace(host, host="H-01"),),
        assignments=tuple(
            dataclasses.replace(row, host="H-01", action="move", moved_from="b-01") for row in plan.assignments
        ),
    )
    assert {v.code for v in verify(fleet, renamed)} == {"existing_hosts", "aim"}


def test_the_column_is_read_back_from_a_repaired_workbook(tmp_path):
    fleet = fleet_of(["x"] * 5, pool="big")
    write_repaired(fleet, tmp_path / "again.xlsx")
    again = planner.read_fleet(tmp_path / "again.xlsx")
    assert list(again.current["pool"]) == ["big"] * 5
    assert again.findings == ()


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 10**9))
def test_the_pools_that_a_host_may_be_of_are_those_of_all_matchings(seed):
    """Against all ways to give hosts to pools; small enough to try every one."""
    rng = random.Random(seed)
    pools = list(range(rng.randint(2, 4)))
    may = {f"h{i}": sorted(rng.sample(pools, rng.randint(1, len(pools)))) for i in range(rng.randint(1, 5))}
    room = {p: rng.randint(0, 3) for p in pools}
    whole = [
        dict(zip(may, chosen, strict=True))
        for chosen in itertools.product(*may.values())
        if all(chosen.count(p) <= room[p] for p in pools)
    ]
    taken = _matched(may, room)
    assert (len(taken) == len(may)) == bool(whole)
    if whole:
        assert all(taken[name] in pools for name, pools in may.items())
        assert _alternatives(may, taken, room) == {
            name: [p for p in pools if any(way[name] == p for way in whole)] for name, pools in may.items()
        }


def test_a_site_without_a_named_host_may_be_on_one_that_current_names_and_hubs_does_not_count():
    fleet = fleet_of(["big-01", *[""] * 4], hubs={"existing_hosts": 0}, pool="big")
    plan = planner.plan(fleet)
    assert actions(plan) == ["keep"] * 5
    rollout = planner.roll_out(fleet, plan)
    assert (rollout.waves, rollout.conflicts) == ((), ())
    assert verify_rollout(fleet, plan, rollout) == ()


def hubs_only(existing, number=9, cap=4, hubs=("H",), **policy):
    """A fleet of whose sites Current names the hub and no host, as a workbook would be read."""
    sites = [f"S{i}" for i in range(number)]
    return planner.fleet_from_tables(
        {
            "Sites": pd.DataFrame({"site": sites, "clusters": 1}),
            "Hubs": pd.DataFrame({"hub": list(hubs), "existing_hosts": existing, "max_hosts": 5}),
            "Latency": pd.DataFrame([(s, h, 10.0) for s in sites for h in hubs], columns=["site", "hub", "rtt_ms"]),
            "Current": pd.DataFrame({"site": sites, "hub": hubs[0], "host": ""}),
        },
        {"latency_budget_ms": 50, "cluster_cap": cap, "host_release_rule": "any", **policy},
    )


def codes(fleet):
    return [f.code for f in fleet.findings]


def test_hosts_that_nobody_counted_are_assumed_and_said_to_be():
    fleet = hubs_only(None)
    assert fleet.existing_hosts.tolist() == [3]
    assert "existing_assumed" in codes(fleet)
    plan = planner.plan(fleet)
    assert actions(plan) == ["keep"] * 9
    assert all(host.existing for host in plan.host_list)
    assert planner.roll_out(fleet, plan).waves == ()
    assert planner.verify(fleet, plan) == ()


@pytest.mark.parametrize(("existing", "moves"), [(2, 1), (0, 9), (1, 5), (4, 0)])
def test_plan_and_rollout_move_the_same_sites_where_fewer_hosts_exist_than_the_sites_fill(existing, moves):
    fleet = hubs_only(existing)
    assert ("existing_few" in codes(fleet)) == (existing < 3)
    plan = planner.plan(fleet)
    moved = {row.site for row in plan.assignments if row.action == "move"}
    assert len(moved) == moves
    assert [aim.value for aim in plan.then if aim.aim == "moves"] in ([moves], [float(moves)])
    rollout = planner.roll_out(fleet, plan)
    assert {step.site for wave in rollout.waves for step in wave.steps if step.kind in ("move", "detour")} == moved
    assert sum(step.kind == "host_install" for wave in rollout.waves for step in wave.steps) == max(0, 3 - existing)
    assert planner.verify(fleet, plan) == ()
    assert verify_rollout(fleet, plan, rollout) == ()


def test_a_reserve_that_asks_for_a_further_host_moves_only_those_who_go_to_it():
    fleet = hubs_only(None, number=8, reserve_percent=25)
    plan = planner.plan(fleet)
    assert (fleet.existing_hosts.tolist(), plan.hosts) == ([2], 3)
    assert actions(plan).count("move") == 2
    rollout = planner.roll_out(fleet, plan)
    assert sum(step.kind == "move" for wave in rollout.waves for step in wave.steps) == 2
    assert planner.verify(fleet, plan) == ()


def test_hosts_that_current_names_are_counted_where_the_cell_is_blank():
    fleet = planner.fleet_from_tables(
        {
            "Sites": pd.DataFrame({"site": ["S0", "S1"]}),
            "Hubs": pd.DataFrame({"hub": ["H"]}),
            "Latency": pd.DataFrame({"site": ["S0", "S1"], "hub": "H", "rtt_ms": 10.0}),
            "Current": pd.DataFrame({"site": ["S0", "S1"], "hub": "H", "host": ["H-01", "H-02"]}),
        },
        {"latency_budget_ms": 50, "cluster_cap": 1},
    )
    assert fleet.existing_hosts.tolist() == [2]
    (said,) = [finding for finding in fleet.findings if finding.code == "existing_named"]
    assert said.message.endswith("the hosts that Current names there are counted, 2 at H.")
    assert "current_hosts" not in codes(fleet)
    assert all(host.existing for host in planner.plan(fleet).host_list)


def test_every_hub_whose_hosts_are_assumed_is_named():
    sites = [f"S{k}" for k in range(6)]
    pairs = [(site, hub) for site in sites for hub in ("H0", "H1", "H2")]
    fleet = planner.fleet_from_tables(
        {
            "Sites": pd.DataFrame({"site": sites}),
            "Hubs": pd.DataFrame({"hub": ["H0", "H1", "H2"]}),
            "Latency": pd.DataFrame(pairs, columns=["site", "hub"]).assign(rtt_ms=10.0),
            "Current": pd.DataFrame({"site": sites, "hub": ["H0", "H1", "H2"] * 2}),
        },
        {"latency_budget_ms": 50, "cluster_cap": 1},
    )
    (said,) = [finding for finding in fleet.findings if finding.code == "existing_assumed"]
    assert "as these sites fill: 2 at H0, 2 at H1, 2 at H2." in said.message
