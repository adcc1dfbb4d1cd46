"""From host counts to flows of kept-together sites: a quick construction, no proof when it fails."""

from __future__ import annotations

import numpy as np

from planner.fleet import Bools, Ints
from planner.sizing.layers import Layer
from planner.sizing.model import Counts
from planner.sizing.packing import first_fit_decreasing
from planner.sizing.problem import Classes, Problem


def realise(problem: Problem, classes: Classes, hosts: Ints, wished: Ints | None = None) -> Counts | None:
    """Return counts that serve every class with ``hosts`` (P,), or None when the construction does not find them.

    Needs limits that are those of a flow. ``wished`` (A,): how many sites of a class should use an arc, where there
    is room for them.

    Heavy sites, largest first and those with the fewest choices first, go where they are wished, then to the pool
    that is farthest below the load a flow of divisible sites would give it; the light ones must then still flow.
    """
    flow = np.zeros(len(classes.pool))
    none = np.zeros(classes.count, dtype=np.int64)
    if not classes.heavy.any():
        return Counts(hosts, flow, none, none)
    target = _heavy_share(problem, classes, hosts)
    free = problem.caps * hosts
    left = np.array([limit.most for limit in problem.limits])
    inside = np.array([limit.pools for limit in problem.limits], dtype=np.bool_).reshape(len(left), problem.pools)
    order = np.lexsort((np.diff(classes.indptr), -classes.items))
    wishes = np.zeros_like(classes.pool) if wished is None else wished.copy()
    for c in order[classes.heavy[order]]:
        arcs = np.arange(classes.indptr[c], classes.indptr[c + 1])
        for _ in range(int(classes.size[c])):
            fits = free[classes.pool[arcs]] >= classes.items[c]
            fits &= ~inside[left < classes.items[c]][:, classes.pool[arcs]].any(axis=0)
            if not fits.any():
                return None
            if (wishes[arcs][fits] > 0).any():
                fits &= wishes[arcs] > 0
            arc = arcs[np.argmax(np.where(fits, target[classes.pool[arcs]], -np.inf))]
            wishes[arc] -= 1
            flow[arc] += 1
            target[classes.pool[arc]] -= classes.items[c]
            free[classes.pool[arc]] -= classes.items[c]
            left -= classes.items[c] * inside[:, classes.pool[arc]]
    limits = tuple(zip(inside, left.astype(np.int64).tolist(), strict=True))
    fits_all = _light_fit(classes, free, limits) and _packs(problem, classes, hosts, flow)
    return Counts(hosts, flow, none, none) if fits_all else None


def _heavy_share(problem: Problem, classes: Classes, hosts: Ints) -> np.ndarray:
    """Return the clusters of heavy sites that a flow of divisible sites sends to each pool, shape (P,)."""
    layer = Layer(0, 1, classes, classes.demand * classes.items, problem.caps)
    heavy = classes.heavy[classes.of_arc]
    return np.bincount(classes.pool, weights=np.where(heavy, layer.sent(hosts), 0), minlength=problem.pools)


def _light_fit(classes: Classes, free: Ints, limits: tuple[tuple[Bools, int], ...]) -> bool:
    light = np.where(classes.heavy, 0, classes.demand)
    return Layer(0, 1, classes, light, free, limits=limits).flow(np.ones_like(free)).missing == 0


def _packs(problem: Problem, classes: Classes, hosts: Ints, flow: np.ndarray) -> bool:
    sizes: dict[int, list[int]] = {}
    for arc in np.flatnonzero(flow):
        items = [int(classes.items[classes.of_arc[arc]])] * int(flow[arc])
        sizes.setdefault(int(classes.pool[arc]), []).extend(items)
    return all(len(first_fit_decreasing(items, int(problem.caps[p]))) <= hosts[p] for p, items in sizes.items())
