"""From host counts to flows of kept-together sites: a quick construction, no proof when it fails."""

from __future__ import annotations

import numpy as np

from planner.arrays import totals
from planner.fleet import Bools, Floats, Ints
from planner.sizing.host_counts.hall_conditions import HallCondition
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.packing.pools import packs_at_once
from planner.sizing.solution.counts import Counts


def round_counts(problem: Problem, classes: Classes, hosts: Ints, preferred: Ints | None = None) -> Counts | None:
    """Return counts that serve every class with ``hosts`` (P,), or None when the construction does not find them.

    Needs limits that are those of a flow. ``preferred`` (A,): how many sites of a class should use an arc, where there
    is room for them.

    Heavy sites, largest first and those with the fewest choices first, go where they are wished, then to the pool
    that is farthest below the load a flow of divisible sites would give it; the light ones must then still flow.
    """
    flow = np.zeros(len(classes.pool))
    if not classes.multi_cluster.any():
        return Counts.of_hosts(classes, hosts)
    target = _multi_cluster_share(problem, classes, hosts)
    free = problem.caps * hosts
    left = np.array([limit.most for limit in problem.limits])
    pools_of_limits = np.array([limit.pools for limit in problem.limits], dtype=np.bool_)
    inside = pools_of_limits.reshape(len(left), problem.pools)
    choices = np.diff(classes.indptr)
    order = np.lexsort((choices, -classes.items))
    still_preferred = np.zeros_like(classes.pool) if preferred is None else preferred.copy()
    for c in order[classes.multi_cluster[order]]:
        mine = classes.arcs_of(c)
        arcs = np.arange(mine.start, mine.stop)
        pools = classes.pool[arcs]
        items = classes.items[c]
        for _ in range(int(classes.size[c])):
            barred = inside[left < items].any(axis=0)
            open_to_it = (free >= items) & ~barred
            fits = open_to_it[pools]
            if not fits.any():
                return None
            if (still_preferred[arcs][fits] > 0).any():
                fits &= still_preferred[arcs] > 0
            wanted = np.where(fits, target[pools], -np.inf)
            at = np.argmax(wanted)
            arc, pool = arcs[at], pools[at]
            still_preferred[arc] -= 1
            flow[arc] += 1
            target[pool] -= items
            free[pool] -= items
            left -= items * inside[:, pool]
    room_left = left.astype(np.int64).tolist()
    limits = tuple(zip(inside, room_left, strict=True))
    fits_all = _light_fit(classes, free, limits) and packs_at_once(problem, classes, hosts, flow)
    return Counts.of_hosts(classes, hosts, flow) if fits_all else None


def _multi_cluster_share(problem: Problem, classes: Classes, hosts: Ints) -> Floats:
    """Return the clusters of heavy sites that a flow of divisible sites sends to each pool, shape (P,)."""
    clusters = classes.demand * classes.items
    sent = HallCondition(0, 1, classes, clusters, problem.caps).sent(hosts)
    return totals(classes.pool, np.where(classes.arc_multi_cluster, sent, 0), problem.pools)


def _light_fit(classes: Classes, free: Ints, limits: tuple[tuple[Bools, int], ...]) -> bool:
    light = np.where(classes.multi_cluster, 0, classes.demand)
    condition = HallCondition(0, 1, classes, light, free, limits=limits)
    return condition.flow(np.ones_like(free)).missing == 0
