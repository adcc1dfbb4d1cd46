"""A plan without a solver: for the case that time ends before the solver has found one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.arrays import indices, int_zeros
from planner.fleet import Bools, Floats, Ints
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Counts


def greedy_counts(problem: Problem, classes: Classes) -> Counts:
    """Open hosts one at a time, each where it takes most waiting clusters, sites that are to be kept and those with the
    fewest choices first.

    Every host is filled on its own, so the result packs. No bound comes with it.
    """
    hosts = int_zeros(problem.pools)
    flow = np.zeros(len(classes.pool))
    waiting = classes.demand.copy()
    choices = np.diff(classes.indptr)
    order = np.lexsort((choices, ~classes.kept))
    rank = np.empty_like(order)
    rank[order] = indices(order)
    by_rank = np.argsort(rank[classes.of_arc], kind="stable")
    pool = classes.pool[by_rank]
    arcs_of = [by_rank[pool == p] for p in range(problem.pools)]
    left = np.array([limit.most for limit in problem.limits])
    limits = _Limits(left, _amounts(problem, classes))
    # What a pool would take only shrinks while others fill, so what it took last is a bound until it is asked again.
    may = problem.may_grow(hosts)
    most = np.where(may, problem.caps, 0).astype(np.int64)
    latest: dict[int, tuple[int, dict[int, int]]] = {}
    while len(most) and most.max() > 0:
        best = int(np.argmax(most))
        if best not in latest:
            latest[best] = _filling(problem, classes, waiting, arcs_of[best], best, limits)
            most[best] = latest[best][0]
            continue
        hosts[best] += 1
        for arc, units in latest[best][1].items():
            flow[arc] += units
            waiting[classes.of_arc[arc]] -= units
            brought = units * limits.each[:, classes.of_arc[arc]]
            limits.left -= _at(problem, best) * brought
        most[~problem.may_grow(hosts)] = 0
        latest.clear()
    without = waiting // classes.unit_demand
    own = np.where(classes.may_own, without, 0)
    return Counts(hosts, flow, without - own, own)


@dataclass
class _Limits:
    """What limits on hubs and zones leave, ``left`` (L,), and what a unit of each class brings, ``each`` (L, K)."""

    left: Floats
    each: Floats


def _filling(
    problem: Problem, classes: Classes, waiting: Ints, arcs: Ints, p: int, limits: _Limits
) -> tuple[int, dict[int, int]]:
    """Return what one more host of pool ``p`` would take: clusters, and units by arc."""
    free, taken = int(problem.caps[p]), {}
    weighed = problem.host_weight is not None
    counts = np.append(_at(problem, p), weighed)
    rest = np.append(limits.left, problem.host_weight or 0.0)
    limited = bool(counts.any())
    for arc in arcs[waiting[classes.of_arc[arcs]] > 0]:
        if free <= 0:
            break
        c = classes.of_arc[arc]
        clusters = int(classes.items[c])
        units = min(int(waiting[c]), free // clusters)
        if limited:
            each = np.append(limits.each[:, c], classes.item_weight[c])
            brings = np.where(counts, each, 0.0)
            takes = brings > 0
            fit = rest[takes] / brings[takes]
            units = min(units, int((fit + 1e-9).min(initial=units)))
        # A split site must be served whole or not at all; its units go to one host here.
        units -= units % int(classes.unit_demand[c])
        if units > 0:
            taken[int(arc)] = units
            free -= units * clusters
            if limited:
                rest = rest - units * brings
    return int(problem.caps[p]) - free, taken


def _at(problem: Problem, p: int) -> Bools:
    """Say which limits count at pool ``p``, shape (L,)."""
    counts = [limit.pools[p] for limit in problem.limits]
    return np.array(counts, dtype=np.bool_)


def _amounts(problem: Problem, classes: Classes) -> Floats:
    """Return what a unit of each class brings to each limit, shape (L, K)."""
    amounts = [classes.amounts[limit.measure] for limit in problem.limits]
    each = np.array(amounts, dtype=np.float64)
    return each.reshape(len(amounts), classes.count)
