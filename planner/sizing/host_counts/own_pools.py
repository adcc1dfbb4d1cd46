"""Least money where sites may have a tie-breaker of their own, by the cut search: own tie-breakers are pools.

For a site of one cluster its own tie-breaker is a host with room for one cluster, at a price. All that cost the same
are a pool of such hosts, which every class with that price may use. Then host counts alone decide again: Hall's
conditions are all that counts have to meet, and what was learned at one price holds at any other. Sites of several
clusters are divided first, each cluster with its share of the price, which is a bound; then whole sites are rounded.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from planner.arrays import falses, int_zeros, offsets, rounded, totals
from planner.fleet import Floats, Ints
from planner.sizing.host_counts.cutting_planes import search_counts
from planner.sizing.host_counts.hall_conditions import Cut, HallCondition
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.host_counts.rounding import round_counts
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Counts, Sized, objective_value
from planner.sizing.solvers.budget import SolveBudget

_MOST_PRICES = 8  # further pools
_DECIMALS = 9  # of money: thrice a third is one price with one
_CENTS = (1.0, 0.1, 0.01, 0.001)  # units of money in which prices are looked for


def counts_decide_mix(problem: Problem, classes: Classes) -> bool:
    """Say whether money is the objective and hosts and own tie-breakers, by price, are all that it depends on."""
    priced = problem.objective == "cost" and not problem.pair_cost.any()
    return priced and not (problem.split or problem.limited) and 1 <= len(_prices(classes)) <= _MOST_PRICES


def cheapest_mix(problem: Problem, classes: Classes, budget: SolveBudget, known: list[Cut]) -> Sized | None:
    """Return the cheapest hosts and own tie-breakers that serve every site.

    None when time ends before there are any, or where sites of several clusters do not go into those of divided ones.
    Needs `counts_decide_mix`. ``known`` are cuts of the same classes, at whatever prices; those that are found are
    added to it. Of equally cheap ones those with fewer own tie-breakers are taken, as far as the solver can tell.
    """
    prices, pools = _prices(classes), problem.pools
    step = _smallest_step(problem, prices)
    widened = _with_pools(problem, prices + step)
    one_each = np.ones_like(classes.items)
    divided = dataclasses.replace(classes, items=one_each, own_cost=_price_of_cluster(classes))
    asking = _with_arcs(divided, pools, prices)
    reference = reference_counts(problem, falses(len(problem.pool)))
    reference = np.concatenate((reference, np.zeros(len(prices))))
    search = search_counts(widened, asking, budget, reference, known=known)
    known[:] = search.cuts
    if search.best is None:
        return None
    whole = _with_arcs(classes, pools, prices)
    counts = _whole_sites(widened, whole, search.best, pools)
    if counts is None:
        return None
    value = objective_value(problem, classes, counts)
    all_steps = step * int(divided.demand.sum())
    least = max(0.0, search.bound - all_steps)
    bound = value if search.closed else min(value, least)
    word = "lower bound and plan are equal" if search.closed else "stopped early"
    return Sized(classes, counts, value, bound, True, word)


def _whole_sites(widened: Problem, asking: Classes, best: Ints, pools: int) -> Counts | None:
    """Return whole sites on ``best`` (P + prices,) hosts of the ``pools`` pools and own tie-breakers after them."""
    # Own tie-breakers at one price are one host with room for all of them: who has his own is not packed.
    shared, own_room = best[:pools], best[pools:]
    hosts = np.concatenate((shared, np.minimum(own_room, 1)))
    caps = np.concatenate((widened.caps[:pools], own_room))
    problem = dataclasses.replace(widened, caps=caps)
    found = round_counts(problem, asking, hosts)
    if found is None:
        return None
    clusters = found.flow * asking.arc_items
    free = caps * hosts - rounded(totals(asking.pool, clusters, len(caps)))
    light = np.where(asking.multi_cluster, 0, asking.demand)
    condition = HallCondition(0, 1, asking, light, free)
    sent = condition.sent(np.ones_like(caps))
    to_own = asking.pool >= pools
    sites = np.where(to_own, sent + found.flow, 0)
    own = rounded(totals(asking.of_arc, sites, asking.count))
    return Counts(shared, found.flow[~to_own], int_zeros(asking.count), own)


def _prices(classes: Classes) -> Floats:
    """Return the prices of own tie-breakers for one cluster, ascending."""
    return np.unique(_price_of_cluster(classes)[classes.may_own])


def _price_of_cluster(classes: Classes) -> Floats:
    """Return what an own tie-breaker costs for each cluster of a site, shape (K,)."""
    each: Floats = classes.own_cost / classes.clusters
    return each.round(_DECIMALS)


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
    price = pools + np.searchsorted(prices, _price_of_cluster(classes)[may])
    further = offsets(may.astype(np.int64))
    return dataclasses.replace(
        classes,
        indptr=classes.indptr + further,
        pool=np.insert(classes.pool, at, price),
        cost=np.insert(classes.cost, at, 0.0),
    )
