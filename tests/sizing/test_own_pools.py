"""Own tie-breakers as pools of the cut search, against the model as anyone would write it."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.host_counts.own_pools import cheapest_mix, counts_decide_mix
from planner.sizing.instance.classes import group
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import objective_value
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.lexicographic import place
from tests.sizing.test_count_search import _problem


def _own_or_shared(seed: int, prices: np.ndarray) -> Problem:
    """Sites of one cluster, some of which may have their own tie-breaker at one of ``prices``; hosts have prices."""
    rng = np.random.default_rng(seed)
    problem = _problem(seed, objective="cost")
    own = np.where(rng.random(problem.sites) < 0.7, rng.choice(prices, problem.sites), np.inf)
    ones, costs = np.ones(problem.sites, dtype=np.int64), rng.integers(4, 12, problem.pools).astype(float)
    free = np.zeros(len(problem.pool))
    return dataclasses.replace(problem, clusters=ones, own_cost=own, host_cost=costs, pair_cost=free)


def _of_several_clusters(seed: int, price: float) -> Problem:
    """Every third site has two clusters, and own tie-breakers cost ``price`` a cluster."""
    problem = _own_or_shared(seed, np.array([price]))
    clusters = np.where(np.arange(problem.sites) % 3 == 0, 2, 1)
    return dataclasses.replace(problem, clusters=clusters, own_cost=problem.own_cost * clusters)


def _least_money(problem: Problem) -> float | None:
    """Return the least cost by columns n_p, x_ip and o_i; None where not everybody can be served."""
    pools, pairs, sites = problem.pools, len(problem.pool), problem.sites
    may = np.isfinite(problem.own_cost)
    cost = np.concatenate((problem.host_cost, np.zeros(pairs), np.where(may, problem.own_cost, 0.0)))
    each, of_pool = np.zeros((sites, len(cost))), np.zeros((pools, len(cost)))
    each[problem.site, pools + np.arange(pairs)] = 1.0
    each[:, pools + pairs :] = np.eye(sites)
    of_pool[problem.pool, pools + np.arange(pairs)] = problem.clusters[problem.site]
    of_pool[:, :pools] = -np.diag(problem.caps.astype(float))
    most = np.concatenate((problem.max_hosts, np.ones(pairs), may))
    rows = [LinearConstraint(each, 1, 1), LinearConstraint(of_pool, -np.inf, 0)]
    found = milp(cost, integrality=np.ones(len(cost)), bounds=Bounds(0, most), constraints=rows)
    return None if found.fun is None else float(found.fun)


@pytest.mark.parametrize("prices", [[0.0], [0.25], [0.5, 1.5], [1 / 3, 40.0]])
def test_the_cheapest_mix_is_that_of_the_straight_model(prices):
    compared = 0
    for seed in range(12):
        problem = _own_or_shared(seed, np.array(prices))
        classes, least = group(problem, by_weight=False), _least_money(problem)
        if least is None or not counts_decide_mix(problem, classes):
            continue
        compared += 1
        sized = cheapest_mix(problem, classes, SolveBudget(), [])
        assert sized is not None
        assert sized.value == sized.bound == pytest.approx(least)
        assert objective_value(problem, classes, sized.counts) == sized.value
        assert (sized.counts.own <= classes.demand).all()
    assert compared >= 4


def test_what_one_price_taught_holds_at_another():
    known: list[Cut] = []
    for price in (3.0, 0.1, 1.0, 0.4, 20.0):
        problem = _own_or_shared(5, np.array([price]))
        sized = cheapest_mix(problem, group(problem, by_weight=False), SolveBudget(), known)
        assert sized is not None
        assert sized.value == sized.bound == pytest.approx(_least_money(problem))


def test_whole_sites_of_several_clusters_go_into_the_cheapest_mix_of_divided_ones():
    proven = 0
    for seed in range(12):
        problem = _of_several_clusters(seed, 2.5)
        classes, least = group(problem, by_weight=False), _least_money(problem)
        if least is None or not counts_decide_mix(problem, classes):
            continue
        sized = cheapest_mix(problem, classes, SolveBudget(), [])
        if sized is None:
            continue
        proven += sized.bound == sized.value
        assert sized.bound - 1e-9 <= least <= sized.value + 1e-9
        assert objective_value(problem, classes, sized.counts) == sized.value
        assert place(problem, sized, np.zeros(len(problem.pool), dtype=np.bool_), ()) is not None
    assert proven >= 4
