"""What a plan promises beyond the count: names, moves, nearness, determinism, honest ends."""

import numpy as np
import pytest

from planner.errors import InputError
from planner.fleet import whole_weights
from planner.rules import Checker
from planner.sizing import plan
from planner.sizing.assignment.flow_model import FlowModel
from planner.sizing.host_counts.cutting_planes import search_counts
from planner.sizing.instance.classes import group
from planner.sizing.instance.problem import build_problem
from planner.sizing.solution.counts import Counts, objective_value
from planner.sizing.solvers.budget import SolveBudget


def random_rtt(sites: int, hubs: int, seed: int = 0):
    rng = np.random.default_rng(seed)
    return np.round(rng.uniform(5, 90, (sites, hubs)), 3)


def test_hosts_of_a_hub_are_named_from_one_and_filled_evenly_nearest_first(make):
    fleet = make.fleet(np.arange(1.0, 8.0).reshape(7, 1), cluster_cap=3)
    result = plan(fleet)
    assert [h.host for h in result.host_list] == ["H0-01", "H0-02", "H0-03"]
    assert [h.clusters for h in result.host_list] == [3, 2, 2]
    assert [row.host for row in result.assignments] == ["H0-01"] * 3 + ["H0-02"] * 2 + ["H0-03"] * 2


def test_nobody_moves_who_need_not(make):
    """Two hosts are enough and both exist; the nearer hub of S00 is not worth a move."""
    current = {"site": ["S00", "S01", "S02"], "hub": ["H1", "H1", "H0"], "host": ["east", "east", "west"]}
    fleet = make.fleet(
        [[5.0, 40.0], [40.0, 5.0], [5.0, 40.0], [6.0, 40.0]],
        pools={"existing_hosts": [1, 1], "cluster_cap": [2, 2]},
        current=current,
    )
    result = plan(fleet)
    make.sound(fleet, result)
    assert [(a.site, a.host, a.action) for a in result.assignments] == [
        ("S00", "east", "keep"),
        ("S01", "east", "keep"),
        ("S02", "west", "keep"),
        ("S03", "west", "attach"),
    ]
    assert all(h.existing for h in result.host_list)


def test_a_move_names_the_host_it_leaves(make):
    fleet = make.fleet(
        [[5.0, 60.0], [5.0, 60.0]], current={"site": ["S00", "S01"], "hub": ["H1", "H1"], "host": ["east", ""]}
    )
    result = plan(fleet)
    assert [(a.action, a.moved_from) for a in result.assignments] == [("move", "east"), ("move", "H1")]


def test_new_names_do_not_meet_names_in_use(make):
    fleet = make.fleet(
        [[5.0]] * 5,
        cluster_cap=2,
        pools={"existing_hosts": [1]},
        current={"site": ["S00"], "hub": ["H0"], "host": ["H0-02"]},
    )
    names = [h.host for h in plan(fleet).host_list]
    assert sorted(names) == ["H0-01", "H0-02", "H0-03"]


def test_total_rtt_is_least_for_the_hosts_chosen(make):
    """Both hubs are needed; linear_sum_assignment of SciPy says who goes where."""
    from scipy.optimize import linear_sum_assignment

    rtt = np.round(np.random.default_rng(3).uniform(5, 50, (8, 2)), 3)
    fleet = make.fleet(rtt, cluster_cap=4, pools={"max_hosts": [1, 1]})
    seats = np.repeat(rtt, 4, axis=1)
    rows, places = linear_sum_assignment(seats)
    assert sum(a.rtt_ms for a in plan(fleet).assignments) == pytest.approx(seats[rows, places].sum(), abs=0.01)


def test_cut_search_and_flow_model_agree(make):
    for seed in range(25):
        rng = np.random.default_rng(seed)
        fleet = make.fleet(
            random_rtt(60, 6, seed),
            sites={"clusters": rng.choice([1, 1, 1, 2, 3], 60)},
            pools={"cluster_cap": rng.choice([5, 7, 12], 6), "max_hosts": [9] * 6},
        )
        problem = build_problem(fleet, Checker(fleet))
        classes = group(problem, by_weight=False)
        search = search_counts(problem, classes, SolveBudget())
        outcome, counts = FlowModel(problem, classes, serve_all=True).solve("hosts", SolveBudget())
        if counts is None:
            assert outcome.state == "infeasible"
            continue
        assert search.bound <= counts.hosts.sum()
        if not classes.multi_cluster.any():
            assert search.bound == counts.hosts.sum()


@pytest.mark.parametrize("multi_cluster", [False, True])
def test_time_that_ends_at_once_leaves_a_sound_plan_that_is_not_called_optimal(make, multi_cluster):
    clusters = np.random.default_rng(1).integers(1, 6 if multi_cluster else 2, 80)
    fleet = make.fleet(random_rtt(80, 5), sites={"clusters": clusters}, cluster_cap=9, max_hosts_per_hub=40)
    result = plan(fleet, time_limit=0.0)
    make.sound(fleet, result)
    assert result.status != "optimal"
    assert 0 <= result.lower_bound < result.objective_value
    assert result.gap > 0


def test_an_empty_fleet_needs_nothing(make):
    fleet = make.fleet(np.zeros((0, 2)))
    result = plan(fleet)
    assert (result.status, result.hosts, result.lower_bound, result.gap) == ("optimal", 0, 0, 0)
    make.sound(fleet, result)


def test_a_fleet_that_nobody_can_serve_has_reasons_for_each_site(make):
    result = plan(make.fleet([[80.0], [np.nan]]))
    assert (result.status, result.hosts) == ("optimal", 0)
    assert [u.reasons[0].code for u in result.unserved] == ["latency", "unknown_latency"]


def test_who_is_crowded_out_is_named_with_the_room_there_is(make):
    fleet = make.fleet([[5.0]] * 4, sites={"weight": [1, 5, 5, 5]}, cluster_cap=3, pools={"max_hosts": [1]})
    result = plan(fleet)
    assert [u.site for u in result.unserved] == ["S00"]
    assert result.unserved[0].reasons[0].code == "capacity"
    assert "for 3 clusters" in result.unserved[0].reasons[0].detail


def test_an_own_tie_breaker_is_used_where_it_saves_a_host_and_no_more_often(make):
    fleet = make.fleet(
        [[5.0]] * 4,
        sites={"own_tie_breaker": ["possible"] * 2 + ["no"] * 2, "own_tie_breaker_cost": [7, 3, np.nan, np.nan]},
        cluster_cap=3,
    )
    result = plan(fleet)
    assert result.hosts == 1
    assert [(n.site, n.why) for n in result.no_host_needed] == [("S01", "own_tie_breaker")]


def test_ids_that_a_modelling_library_would_merge_stay_apart(make):
    hubs = ["A-1", "A_1", "A 1", "A.1"]
    rtt = np.where(np.eye(4, dtype=bool), 5.0, 99.0)
    result = plan(make.fleet(rtt, hubs=hubs, objective="new_hosts"))
    assert {(a.site, a.hub) for a in result.assignments} == {(f"S{i:02d}", hub) for i, hub in enumerate(hubs)}


def test_hosts_are_counted_from_the_plan_not_read_from_the_objective(make):
    fleet = make.fleet([[5.0]] * 3, cluster_cap=1, max_hosts_per_hub=30)
    problem = build_problem(fleet, Checker(fleet))
    classes = group(problem, by_weight=False)
    none = np.zeros(classes.count, dtype=int)
    assert objective_value(problem, classes, Counts(np.array([18]), np.zeros(1), none, none)) == 18.0


def test_weights_are_compared_exactly():
    weights = whole_weights(np.array([0.1, 0.2, 0.3]))
    assert weights[0] + weights[1] == weights[2]


def test_the_same_fleet_in_another_order_gets_the_same_plan(make):
    rtt = random_rtt(40, 5, 7)
    fleet = make.fleet(rtt, cluster_cap=6, max_hosts_per_hub=20)
    shuffled = fleet.replace(
        sites=fleet.sites.sample(frac=1, random_state=1).reset_index(drop=True),
        pools=fleet.pools.sample(frac=1, random_state=2).reset_index(drop=True),
        latency=fleet.latency.sample(frac=1, random_state=3).reset_index(drop=True),
    )
    assert plan(fleet).assignments == plan(shuffled).assignments
    assert plan(fleet).host_list == plan(shuffled).host_list


def test_hosts_that_are_needed_are_told_as_whole_numbers():
    """A page once said that 7.403 hosts are needed."""
    told = []
    budget = SolveBudget(watch=told.append)
    budget.tell("hosts", 9.0, 7.403)
    budget.tell("cost", 9.5, 7.403)
    assert [progress.bound for progress in told] == [8.0, 7.403]


def test_progress_is_told_and_stops_the_search_where_it_is_refused(make):
    fleet = make.fleet(random_rtt(60, 8), cluster_cap=7, max_hosts_per_hub=20)
    told = []
    full = plan(fleet, watch=told.append)
    assert [p.seconds for p in told] == sorted(p.seconds for p in told)
    assert any(p.bound is not None and p.bound <= full.hosts for p in told)
    stopped = plan(fleet, watch=lambda _: False)
    make.sound(fleet, stopped)
    assert stopped.lower_bound <= full.hosts <= stopped.hosts


def test_a_thorough_plan_is_no_worse_and_knows_a_sharper_bound(make):
    fleet = make.fleet(random_rtt(60, 8, 2), cluster_cap=7, max_hosts_per_hub=20)
    quick, thorough = plan(fleet), plan(fleet, thorough=True)
    assert thorough.hosts == quick.hosts
    assert thorough.then[0].value <= quick.then[0].value + 1e-3
    assert thorough.then[0].bound >= quick.then[0].bound - 1e-3
    assert thorough.then[0].bound == pytest.approx(thorough.then[0].value, abs=1e-2)


def test_hosts_in_use_beyond_the_count_of_existing_ones_are_counted_as_the_verifier_does(make):
    fleet = make.fleet(
        [[5.0]] * 2,
        objective="new_hosts",
        cluster_cap=1,
        pools={"existing_hosts": [1]},
        current={"site": ["S00", "S01"], "hub": ["H0"] * 2, "host": ["b", "c"]},
    )
    result = plan(fleet)
    make.sound(fleet, result)
    assert (result.objective_value, sum(h.existing for h in result.host_list)) == (1, 1)


def test_cost_without_the_price_of_a_host_is_refused(make):
    """It was a ValueError: NaN has no integer ratio."""
    with pytest.raises(InputError, match="pool H1 has no price of a host"):
        plan(make.fleet([[10.0, 10.0]], pools={"host_cost": [100.0, np.nan]}, objective="cost"))
