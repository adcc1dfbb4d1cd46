"""Least money where sites may have a tie-breaker of their own, by the cut search: own tie-breakers are pools.

For a site of one cluster its own tie-breaker is a host with room for one cluster, at a price. All that cost the same
are a pool of such hosts, which every class with that price may use. Then host counts alone decide again: Hall's
conditions are all that counts have to meet, and what was learned at one price holds at any other.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from planner.arrays import falses, int_zeros, offsets, rounded, totals
from planner.fleet import Floats, Ints
from planner.sizing.host_counts.cutting_planes import search_counts
from planner.sizing.host_counts.hall_conditions import Cut, hall_conditions
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Counts, Sized, objective_value
from planner.sizing.solvers.budget import SolveBudget

_MOST_PRICES = 8  # further pools
_CENTS = (1.0, 0.1, 0.01, 0.001)  # units of money in which prices are looked for


def counts_decide_mix(problem: Problem, classes: Classes) -> bool:
    """Say whether money is the objective and hosts and own tie-breakers, by price, are all that it depends on."""
    priced = problem.objective == "cost" and not problem.pair_cost.any()
    more = classes.multi_cluster.any() or problem.split or problem.limited
    return priced and not more and 1 <= len(_prices(classes)) <= _MOST_PRICES


def cheapest_mix(problem: Problem, classes: Classes, budget: SolveBudget, known: list[Cut]) -> Sized | None:
    """Return the cheapest hosts and own tie-breakers that serve every site; None when time ends before there are any.

    Needs `counts_decide_mix`. ``known`` are cuts of the same classes, at whatever prices; those that are found are
    added to it. Of equally cheap ones those with fewer own tie-breakers are taken, as far as the solver can tell.
    """
    prices, pools = _prices(classes), problem.pools
    step = _smallest_step(problem, prices)
    widened = _with_pools(problem, prices + step)
    asking = _with_arcs(classes, pools, prices)
    reference = reference_counts(problem, falses(len(problem.pool)))
    reference = np.concatenate((reference, np.zeros(len(prices))))
    search = search_counts(widened, asking, budget, reference, known=known)
    known[:] = search.cuts
    if search.best is None:
        return None
    sent = hall_conditions(widened, asking)[0].sent(search.best)
    sent_to_own = np.where(asking.pool >= pools, sent, 0)
    own = totals(asking.of_arc, sent_to_own, classes.count)
    hosts = search.best[:pools]
    flow = np.zeros(len(classes.pool))
    counts = Counts(hosts, flow, int_zeros(classes.count), rounded(own))
    value = objective_value(problem, classes, counts)
    all_steps = step * int(classes.demand.sum())
    least = max(0.0, search.bound - all_steps)
    bound = value if search.closed else min(value, least)
    word = "lower bound and plan are equal" if search.closed else "stopped early"
    return Sized(classes, counts, value, bound, True, word)


def _prices(classes: Classes) -> Floats:
    """Return the prices of own tie-breakers, ascending."""
    return np.unique(classes.own_cost[classes.may_own])


def _smallest_step(problem: Problem, prices: Floats) -> float:
    """Return what an own tie-breaker may cost more without any plan being cheaper for it; 0 where prices are uneven."""
    money = np.concatenate((problem.host_cost, prices))
    for unit in _CENTS:
        if np.abs(money / unit - np.rint(money / unit)).max() <= 1e-6:
            return unit / (2.0 * (int(problem.clusters.sum()) + 1))
    return 0.0


def _with_pools(problem: Problem, prices: Floats) -> Problem:
    """Return ``problem`` with a pool for each of ``prices``, as far as the cut search asks; pairs stay as they are."""

    def longer(values: Ints, more: Ints | Floats | int) -> Ints:
        same_type = np.asarray(more, dtype=values.dtype)
        return np.concatenate((values, np.broadcast_to(same_type, len(prices))))

    clusters = int(problem.clusters.sum())
    return dataclasses.replace(
        problem,
        own_cost=np.full(problem.sites, np.inf),
        caps=longer(problem.caps, 1),
        max_hosts=longer(problem.max_hosts, clusters),
        existing=longer(problem.existing, 0),
        host_cost=np.concatenate((problem.host_cost, prices)),
        hub=longer(problem.hub, -1),
    )


def _with_arcs(classes: Classes, pools: int, prices: Floats) -> Classes:
    """Return ``classes`` with an arc to the pool of their price, the last of each class that may have its own."""
    may = classes.may_own
    at = classes.indptr[1:][may]
    price = pools + np.searchsorted(prices, classes.own_cost[may])
    further = offsets(may.astype(np.int64))
    return dataclasses.replace(
        classes,
        indptr=classes.indptr + further,
        pool=np.insert(classes.pool, at, price),
        cost=np.insert(classes.cost, at, 0.0),
    )
