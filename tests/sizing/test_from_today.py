"""Plans from today's assignments: fewest moves against brute force and another solver, hosts emptied, moves frozen."""

import datetime as dt
import itertools
import random
import signal

import numpy as np
import pandas as pd
import pytest
from ortools.sat.python import cp_model

from planner.errors import InputError
from planner.intake import fleet_from_tables
from planner.outputs.how_sure import headline
from planner.plan import moved_sites
from planner.rollout import roll_out
from planner.sizing import drained, plan, plan_frozen, trade_off
from planner.sizing.from_today import extra_hosts
from planner.sizing.from_today.by_host import by_host, folded
from planner.verify import verify, verify_rollout
from tests.arrays import fleet_of
from tests.how_many import MORE, seeds
from tests.independent.compare import reached_by
from tests.independent.generator import Wanted, tables_of
from tests.independent.model import Model
from tests.independent.reading import read


def moves(made):
    """Count the sites with another host than today, by what the plan says of each."""
    return sum(row.action == "move" for row in made.assignments)


BUDGET_MS = 40


def invented(seed, sites, hubs, cap, most=3, existing=2, large=0.25, **policy):
    """A fleet whose sites are spread over the hosts of today without regard to how many hosts that takes."""
    rng = random.Random(seed)
    ids, names = [f"S{i:04d}" for i in range(sites)], [f"H{j}" for j in range(hubs)]
    sizes = {site: 2 if rng.random() < large else 1 for site in ids}
    rtt = {(site, hub): rng.uniform(5, 60) for site in ids for hub in names}
    current, load = [], {}
    for site in ids:
        hosts = [f"{hub}-{n:02d}" for hub in names for n in range(1, existing + 1) if rtt[site, hub] <= BUDGET_MS]
        hosts = [host for host in hosts if load.get(host, 0) + sizes[site] <= cap]
        if hosts and rng.random() < 0.9:
            host = rng.choice(hosts)
            load[host] = load.get(host, 0) + sizes[site]
            current.append((site, host.split("-")[0], host))
    tables = {
        "Sites": pd.DataFrame({"site": ids, "clusters": [sizes[site] for site in ids]}),
        "Hubs": pd.DataFrame({"hub": names, "max_hosts": most, "existing_hosts": existing, "cluster_cap": cap}),
        "Latency": pd.DataFrame([(*pair, ms) for pair, ms in rtt.items()], columns=["site", "hub", "rtt_ms"]),
        "Current": pd.DataFrame(current, columns=["site", "hub", "host"]),
    }
    return fleet_from_tables(tables, policy={"latency_budget_ms": BUDGET_MS, **policy})


def holds(fleet, made):
    assert [str(v) for v in verify(fleet, made) if v.severity == "violation"] == []


def facts(fleet):
    """Eligible hubs, size and host today of each site; hosts of each hub, in plain data."""
    rtt = {(s, h): ms for s, h, ms in fleet.latency[["site", "hub", "rtt_ms"]].itertuples(index=False)}
    today = dict(zip(fleet.current["site"], fleet.current["host"], strict=True))
    hosts = {hub: [f"{hub}-{n:02d}" for n in range(1, int(most) + 1)] for hub, most in
             zip(fleet.pools["hub"], fleet.pools["max_hosts"], strict=True)}  # fmt: skip
    hosts = {hub: [name for name in names if name not in fleet.retiring_hosts] for hub, names in hosts.items()}
    sizes = dict(zip(fleet.site_ids, fleet.clusters.tolist(), strict=True))
    reach = {s: [host for h in hosts if rtt[s, h] <= BUDGET_MS for host in hosts[h]] for s in fleet.site_ids}
    return {s: r for s, r in reach.items() if r}, sizes, today, hosts, int(fleet.pools["cluster_cap"].iloc[0])


def brute_force(fleet, most_hosts, left_out=0):
    """Fewest moves with so many hosts and at most so many sites left out, by trying every way (with bounds)."""
    reach, sizes, today, hosts, cap = facts(fleet)
    names = [name for group in hosts.values() for name in group]
    best = None
    for running in itertools.combinations(names, most_hosts):

        def go(rest, load, cost, out=0, running=running):
            nonlocal best
            if best is not None and cost >= best:
                return
            if not rest:
                best = cost
                return
            site, *others = rest
            if out < left_out:
                go(others, load, cost, out + 1)
            for host in sorted(running, key=lambda h: h != today.get(site)):
                if host in reach[site] and load.get(host, 0) + sizes[site] <= cap:
                    more = {**load, host: load.get(host, 0) + sizes[site]}
                    go(others, more, cost + (site in today and today[site] != host), out)

        go(sorted(reach), {}, 0)
    return best


def by_cp_sat(fleet, most_hosts):
    """The same by CP-SAT, a solver that the planner does not use here: one Boolean for each site and host."""
    reach, sizes, today, hosts, cap = facts(fleet)
    model = cp_model.CpModel()
    run = {name: model.new_bool_var(name) for group in hosts.values() for name in group}
    x = {(s, h): model.new_bool_var(f"{s} {h}") for s in reach for h in reach[s]}
    for s in reach:
        model.add_exactly_one(x[s, h] for h in reach[s])
    for h, on in run.items():
        model.add(sum(sizes[s] * x[s, h] for s in reach if (s, h) in x) <= cap * on)
    model.add(sum(run.values()) <= most_hosts)
    model.minimize(sum(x[s, h] for s, h in x if s in today and today[s] != h))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = 60
    assert solver.solve(model) == cp_model.OPTIMAL
    return round(solver.objective_value)


@pytest.mark.parametrize("seed", seeds(6, 12))
def test_moves_are_the_fewest_by_brute_force(seed):
    fleet = invented(seed, sites=7, hubs=2, cap=3, most=2)
    made = plan(fleet)
    holds(fleet, made)
    if not made.unserved:
        assert moves(made) == brute_force(fleet, made.hosts)


@pytest.mark.parametrize("seed", seeds(4, 8))
def test_moves_are_the_fewest_and_counted_alike_where_somebody_finds_no_room(seed):
    """More sites than places, and a host to be emptied; a plan and its trade-off said different things of it."""
    fleet = drained(invented(seed, sites=12, hubs=2, cap=3, most=2), ["H0-02"])
    made = plan(fleet)
    holds(fleet, made)
    crowded = [left for left in made.unserved if any(reason.code == "capacity" for reason in left.reasons)]
    assert crowded
    fewest = brute_force(fleet, made.hosts, left_out=len(crowded))
    assert moves(made) == fewest
    (aim,) = [one for one in made.then if one.aim == "moves"] if fewest else [None]
    assert aim is None or (aim.aim, aim.value, aim.bound, aim.proven) == ("moves", fewest, fewest, True)
    points = trade_off(fleet, made)
    assert (points[0].hosts, points[0].moves, points[0].bound) == (made.hosts, fewest, fewest)


@pytest.mark.parametrize("seed", range(3))
def test_moves_and_every_point_of_the_trade_off_are_those_of_another_solver(seed):
    fleet = invented(seed, sites=45, hubs=4, cap=9)
    made = plan(fleet)
    holds(fleet, made)
    assert not [u for u in made.unserved if u.reasons[0].code == "capacity"]
    points = trade_off(fleet, made)
    assert points[0].hosts == made.hosts
    assert points[0].moves == moves(made)
    for point in points:
        assert point.proven
        assert point.moves == by_cp_sat(fleet, point.hosts)
    assert [p.moves for p in points] == sorted((p.moves for p in points), reverse=True)


def test_three_hundred_sites_and_ten_hubs_are_proven():
    fleet = invented(3, sites=300, hubs=10, cap=64, large=0.2)
    made = plan(fleet)
    holds(fleet, made)
    aim = made.then[0]
    assert (aim.aim, aim.value, aim.proven) == ("moves", moves(made), True)


def test_a_new_site_uses_its_own_tie_breaker_only_where_that_saves_a_host_or_a_move():
    """It used to be free, and so was taken where the shared host had room."""
    sites = {"own_tie_breaker": ["no", "possible", "possible"], "own_tie_breaker_cost": [np.nan, 100.0, 10.0]}
    today = {"site": ["S00"], "hub": ["H0"], "host": ["H0-01"]}
    for cap, own in ((3, []), (2, ["S02"])):
        made = plan(fleet_of([[10.0]] * 3, sites=sites, current=today, cluster_cap=cap))
        assert made.hosts == 1
        assert [spared.site for spared in made.no_host_needed] == own


def test_a_few_hosts_more_move_fewer_sites_and_are_told_as_a_gap():
    fleet = invented(2, sites=60, hubs=5, cap=10)
    fewest, more = plan(fleet), plan(fleet, extra_hosts=2)
    holds(fleet, more)
    assert more.hosts <= fewest.hosts + 2
    assert moves(more) < moves(fewest)
    assert more.then[0].proven
    assert more.lower_bound == fewest.lower_bound
    assert more.gap > 0


def test_who_is_left_out_instead_so_that_fewer_move_with_a_host_more_is_told_why():
    """One place too few at H0: with a host more, S0011 is left out instead of S0007, and 2 sites move instead of 4."""
    fleet = invented(34, sites=14, hubs=3, cap=6)
    fleet = fleet.replace(pools=fleet.pools.assign(max_hosts=[1.0, 3.0, 3.0], cluster_cap=[2.0, 6.0, 6.0]))
    before, made = plan(fleet), plan(fleet, extra_hosts=1)
    holds(fleet, made)
    assert moves(made) < moves(before)
    left = {one.site for one in made.unserved}
    assert left != {one.site for one in before.unserved}
    assert {one.site for one in made.unserved if one.reasons} == left
    today = dict(zip(fleet.current["site"], fleet.current["host"], strict=True))
    assert all(one.current == today.get(one.site) for one in made.unserved)
    assert not any("0 0000" in reason.detail for one in made.unserved for reason in one.reasons)


@pytest.mark.parametrize("objective", ["new_hosts", "cost"])
def test_other_objectives_keep_their_value_and_move_no_more(objective):
    fleet = invented(5, sites=50, hubs=4, cap=9, objective=objective, host_cost=100)
    made, before = plan(fleet), plan(fleet.replace(policy=fleet.policy.replace(then="")))
    holds(fleet, made)
    assert made.objective_value == before.objective_value
    assert moves(made) <= moves(before)


def test_a_change_of_host_within_a_pool_is_a_move():
    """Two hosts of one pool, both needed: nobody has to change, and nobody does."""
    tables = {
        "Sites": pd.DataFrame({"site": ["1", "2", "3", "4"]}),
        "Hubs": pd.DataFrame({"hub": ["ESK"], "max_hosts": [2], "existing_hosts": [2], "cluster_cap": [3]}),
        "Latency": pd.DataFrame({"site": ["1", "2", "3", "4"], "hub": "ESK", "rtt_ms": 9.0}),
        "Current": pd.DataFrame({"site": ["1", "2", "3", "4"], "hub": "ESK", "host": ["A", "B", "B", "B"]}),
    }
    fleet = fleet_from_tables(tables, policy={"latency_budget_ms": 20})
    made = plan(fleet)
    assert moves(made) == 0
    assert {a.site: a.host for a in made.assignments} == {"1": "A", "2": "B", "3": "B", "4": "B"}


@pytest.mark.parametrize("seed", seeds(3, 6))
def test_splitting_pools_by_host_changes_no_count(seed):
    fleet = invented(seed, sites=25, hubs=3, cap=7)
    split = by_host(fleet)
    whole, apart = plan(fleet), plan(split.fleet)
    assert apart.hosts == whole.hosts
    again = folded(split, apart.replace(proof=whole.proof, unserved=whole.unserved))
    assert {h.pool for h in again.host_list} <= set(fleet.pool_ids)


@pytest.mark.parametrize("seed", seeds(2, 4))
@pytest.mark.parametrize("names", [["H0-01"], ["H1"], ["H0-02", "H2"]])
def test_drained_hosts_and_hubs_carry_nobody(seed, names):
    fleet = drained(invented(seed, sites=40, hubs=4, cap=10), names)
    made = plan(fleet)
    holds(fleet, made)
    assert not {h.host for h in made.host_list} & set(names)
    assert not {h.hub for h in made.host_list} & set(names)
    rows = zip(fleet.current["site"], fleet.current["hub"], fleet.current["host"], strict=True)
    former = {s for s, hub, host in rows if host in names or hub in names}
    assert all(row.action == "move" for row in made.assignments if row.site in former)


def test_a_host_that_is_drained_keeps_its_place():
    """A pool of two hosts, one drained: only one may run, and no new host gets the drained one's name."""
    fleet = drained(invented(1, sites=12, hubs=1, cap=4, most=2), ["H0-01"])
    made = plan(fleet)
    assert [h.host for h in made.host_list] == ["H0-02"]
    assert made.unserved
    wider = drained(invented(1, sites=12, hubs=1, cap=4, most=3), ["H0-01"])
    assert [h.host for h in plan(wider).host_list] == ["H0-02", "H0-03"]


def test_plan_that_uses_a_host_to_be_emptied_does_not_hold():
    fleet = invented(1, sites=12, hubs=2, cap=8)
    made = plan(fleet)
    name = made.host_list[0].host
    codes = {v.code for v in verify(drained(fleet, [name]), made)}
    assert "retiring_host" in codes


def test_what_is_to_be_drained_must_be_there():
    fleet = invented(1, sites=12, hubs=2, cap=8)
    with pytest.raises(InputError) as caught:
        drained(fleet, ["H0-77", "H0-01", "nowhere"])
    assert [f.message for f in caught.value.findings] == [
        '"H0-77" is neither a hub nor a host in use.',
        '"nowhere" is neither a hub nor a host in use.',
    ]


@pytest.mark.parametrize("objective", ["hosts", "new_hosts", "cost"])
@pytest.mark.parametrize("seed", seeds(2, 4))
def test_frozen_plans_move_only_who_may_not_stay(seed, objective):
    fleet = invented(seed, sites=40, hubs=4, cap=9, objective=objective, host_cost=50)
    made = plan_frozen(fleet)
    holds(fleet, made)
    assert moves(made) == 0
    today = dict(zip(fleet.current["site"], fleet.current["host"], strict=True))
    assert all(row.host == today[row.site] for row in made.assignments if row.site in today)
    assert made.objective_value >= made.lower_bound
    emptied = drained(fleet, ["H0-01"])
    after = plan_frozen(emptied)
    holds(emptied, after)
    assert {row.site for row in after.assignments if row.action == "move"} <= {
        s for s, h in today.items() if h == "H0-01"
    }


def test_who_is_too_much_for_a_host_moves_in_a_frozen_plan():
    """A host above its cap today kept everybody, and the plan did not hold."""
    sites = {"clusters": [1.0, 2.0, 3.0]}
    today = {"site": ["S00", "S01", "S02"], "hub": ["H0"] * 3, "host": ["H0-01"] * 3}
    fleet = fleet_of([[10.0]] * 3, sites=sites, current=today, cluster_cap=4)
    made = plan_frozen(fleet)
    holds(fleet, made)
    assert [row.action for row in made.assignments] == ["keep", "keep", "move"]


@pytest.mark.parametrize("seed", range(5))
def test_frozen_plans_add_the_fewest_hosts_by_brute_force(seed):
    fleet = invented(seed, sites=8, hubs=2, cap=3, most=4)
    made = plan_frozen(fleet)
    assert not [u for u in made.unserved if u.reasons[0].code == "capacity"]
    hosts = facts(fleet)[3]
    total = sum(len(group) for group in hosts.values())
    frozen = [n for n in range(1, total + 1) if brute_force(fleet, n) == 0]
    assert made.hosts == frozen[0]


def test_freezing_asks_for_named_hosts_and_no_cover():
    fleet = invented(1, sites=12, hubs=2, cap=8)
    unnamed = fleet.replace(current=fleet.current.assign(host=""), policy=fleet.policy.replace(cover="host"))
    with pytest.raises(InputError) as caught:
        plan_frozen(unnamed)
    assert {f.code for f in caught.value.findings} == {"freeze_unnamed", "freeze_cover"}


@pytest.mark.parametrize("setting", ["max_blast_radius_hub", "max_share_percent_zone", "max_share_percent"])
def test_freezing_is_refused_under_limits_on_hubs_zones_and_uneven_weights(setting):
    fleet = invented(1, sites=12, hubs=2, cap=8)
    fleet = fleet.replace(
        sites=fleet.sites.assign(weight=[1.0 + s % 2 for s in range(len(fleet.site_ids))]),
        policy=fleet.policy.replace(**{setting: 50}),
    )
    with pytest.raises(InputError, match=setting):
        plan_frozen(fleet)


def test_freezing_is_refused_where_pools_share_a_rack():
    fleet = invented(1, sites=12, hubs=2, cap=8)
    pools = fleet.pools.assign(hub=fleet.pools["hub"].iloc[0], rack_units=3.0)
    with pytest.raises(InputError, match=f"rack_units at hub {fleet.pools['hub'].iloc[0]}"):
        plan_frozen(fleet.replace(pools=pools))


def test_a_share_of_equal_clusters_is_a_cap_for_frozen_plans_too():
    fleet = invented(1, sites=12, hubs=2, cap=8)
    fleet = fleet.replace(sites=fleet.sites.assign(weight=fleet.clusters.astype(float)))
    made = plan_frozen(fleet.replace(policy=fleet.policy.replace(max_share_percent=100)))
    assert made.hosts == plan_frozen(fleet).hosts


def test_trade_off_is_refused_where_sites_may_be_split():
    fleet = invented(1, sites=12, hubs=2, cap=8, split_sites=True)
    with pytest.raises(InputError, match="needs split_sites no"):
        trade_off(fleet, plan(fleet))
    holds(fleet, plan(fleet))


def moves_of_the_independent_model(tables, made, most_hosts):
    """The fewest moves with at most so many hosts, of plans that are else as good as ``made``."""
    question = read(tables)
    model = Model(question)
    kept, served, covered = reached_by(question, made)
    chosen = {entry.site for entry in made.no_host_needed}
    own = [site.own_cost for site in question.sites if site.own_cost is not None and site.name in chosen]
    if question.keep_served:
        model.fix("kept_served", kept)
    model.fix("served", served)
    model.fix("covered", covered)
    model.fix("hosts", most_hosts)
    model.fix("own", len(own))
    model.fix("own_cost", sum(own))
    return model.best("moves")


@pytest.mark.parametrize("seed", [70_101, 70_164, 70_198, 70_208, 70_259, 70_295] if MORE else [70_101, 70_198, 70_208])
def test_moves_with_more_hosts_are_those_of_the_independent_model_with_cover_too(seed):
    """Against the loss of a zone, a zone, a host, a hub, a host and a host; one of each every day."""
    tables = tables_of(seed, Wanted(("none", "host", "hub", "zone"), ("today",), ("then", "split")))
    fleet = fleet_from_tables(tables.frames(), tables.policy)
    made = plan(fleet)
    points = trade_off(fleet, made, most=2)
    assert len(points) > 1
    for point in points:
        fewest = moves_of_the_independent_model(tables, made, point.hosts)
        assert (point.moves, point.bound) == (fewest, fewest)
        holds(fleet, plan(fleet, extra_hosts=point.hosts - made.hosts))


@pytest.mark.parametrize(
    ("policy", "why"),
    [
        ({"objective": "new_hosts"}, "objective is new_hosts"),
        ({"split_sites": True}, "split"),
        ({}, ""),
    ],
)
def test_hosts_on_top_that_are_not_tried_are_said_to_be_so(policy, why):
    fleet = invented(4, sites=14, hubs=3, cap=8)
    fleet = fleet.replace(policy=fleet.policy.replace(**policy))
    made = plan(fleet, extra_hosts=2)
    assert moves(made) or not why  # else there is nothing to say
    said = {finding.code: finding for finding in made.findings if finding not in fleet.findings}
    if why:
        assert set(said) == {"extra_hosts_unused"}
        (finding,) = said.values()
        assert finding.severity == "warning"
        assert why in finding.message
    else:
        before = plan(fleet)
        assert not said
        assert made.extra_hosts == made.hosts - before.hosts > 0
        assert f"Proven: {before.hosts} hosts are the fewest, and enough. As asked, the plan uses" in headline(made)
        assert "is open" not in headline(made)


def test_no_time_gives_a_plan_all_the_same():
    fleet = invented(2, sites=60, hubs=5, cap=10)
    made = plan(fleet, time_limit=0)
    holds(fleet, made)
    assert trade_off(fleet, made, time_limit=0)[0].moves == moves(made)


@pytest.mark.parametrize("seed", range(3))
def test_retiring_hosts_of_the_sheet_are_emptied_and_retired_by_the_rollout(seed):
    """The column of Hubs, a plan of it, and a rollout that the replay accepts and that switches the host off."""
    fleet = invented(seed, sites=20, hubs=3, cap=12)
    fleet = fleet.replace(pools=fleet.pools.assign(retiring_hosts=[("H0-01",), (), ()]))
    made = plan(fleet)
    holds(fleet, made)
    found = roll_out(fleet, made, start=dt.date(2027, 3, 1))
    assert [v for v in verify_rollout(fleet, made, found) if v.severity == "violation"] == []
    assert "H0-01" in {step.host for step in found.steps if step.kind == "host_retire"}


def test_new_host_beside_those_that_current_names_is_not_called_existing():
    """S0 is left out and runs on where it is; both hosts that exist are named, so that a third is new."""
    tables = {
        "Sites": pd.DataFrame({"site": ["S0", "S2", "S4"], "clusters": [1, 2, 1]}),
        "Hubs": pd.DataFrame({"hub": ["H0", "H1"], "existing_hosts": [0, 2], "host_cost": [3.0, 5.0]}),
        "Latency": pd.DataFrame({"site": ["S2", "S4"], "hub": ["H1", "H0"], "rtt_ms": [4.46, 7.0]}),
        "Current": pd.DataFrame({"site": ["S0", "S4"], "hub": ["H1", "H1"], "host": ["H1-01", "H1-old"]}),
    }
    fleet = fleet_from_tables(tables, {"latency_budget_ms": 20, "objective": "cost", "max_blast_radius": 3})
    made = plan(fleet)
    assert [str(violation) for violation in verify(fleet, made)] == []
    named = {"H1-01", "H1-old"}
    assert [host.host for host in made.host_list if host.existing and host.host not in named] == []


def test_ctrl_c_in_the_first_search_starts_no_other(monkeypatch):
    """S0 to S2 cannot stay together, so that there are moves to save; the first search hears Ctrl-C."""
    today = {"site": ["S0", "S1", "S2"], "hub": ["H0"] * 3, "host": ["H0-01"] * 3}
    fleet = fleet_of([[5.0, 6.0]] * 3, digits=1, current=today, cluster_cap=2)
    before = signal.getsignal(signal.SIGINT)
    pressed = []

    def press(_progress):
        if not pressed:
            pressed.append(signal.raise_signal(signal.SIGINT))

    def refuse(*_arguments):
        raise AssertionError("another search was begun")

    monkeypatch.setattr(extra_hosts, "MoreHosts", refuse)
    found = plan(fleet, watch=press)
    assert pressed
    assert (found.hosts, len(moved_sites(fleet, found))) == (2, 1)
    found = plan(fleet, extra_hosts=1, watch=lambda _progress: False)
    assert "since the search was interrupted" in " ".join(finding.message for finding in found.findings)
    assert signal.getsignal(signal.SIGINT) is before
