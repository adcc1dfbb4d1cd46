"""From host counts to flows of kept-together sites: a quick construction, no proof when it fails."""

from __future__ import annotations

import numpy as np

from planner.fleet import Ints
from planner.sizing.layers import Layer
from planner.sizing.model import Counts
from planner.sizing.packing import first_fit_decreasing
from planner.sizing.problem import Classes, Problem


def realise(problem: Problem, classes: Classes, hosts: Ints) -> Counts | None:
    """Return counts that serve every class with ``hosts`` (P,), or None when the construction does not find them.

    Heavy sites, largest first and those with the fewest choices first, go to the pool that is farthest
    below the load a flow of divisible sites would give it; the light ones must then still flow.
    """
    flow = np.zeros(len(classes.pool))
    none = np.zeros(classes.count, dtype=np.int64)
    if not classes.heavy.any():
        return Counts(hosts, flow, none, none)
    target = _heavy_share(problem, classes, hosts)
    free = problem.caps * hosts
    order = np.lexsort((np.diff(classes.indptr), -classes.items))
    for c in order[classes.heavy[order]]:
        arcs = np.arange(classes.indptr[c], classes.indptr[c + 1])
        for _ in range(int(classes.size[c])):
            fits = free[classes.pool[arcs]] >= classes.items[c]
            if not fits.any():
                return None
            arc = arcs[np.argmax(np.where(fits, target[classes.pool[arcs]], -np.inf))]
            flow[arc] += 1
            target[classes.pool[arc]] -= classes.items[c]
            free[classes.pool[arc]] -= classes.items[c]
    return (
        Counts(hosts, flow, none, none) if _light_fit(classes, free) and _packs(problem, classes, hosts, flow) else None
    )


def _heavy_share(problem: Problem, classes: Classes, hosts: Ints) -> np.ndarray:
    """Return the clusters of heavy sites that a flow of divisible sites sends to each pool, shape (P,)."""
    layer = Layer(0, 1, classes, classes.demand * classes.items, problem.caps)
    heavy = classes.heavy[classes.of_arc]
    return np.bincount(classes.pool, weights=np.where(heavy, layer.sent(hosts), 0), minlength=problem.pools)


def _light_fit(classes: Classes, free: Ints) -> bool:
    light = np.where(classes.heavy, 0, classes.demand)
    return Layer(0, 1, classes, light, free).flow(np.ones_like(free)).missing == 0


def _packs(problem: Problem, classes: Classes, hosts: Ints, flow: np.ndarray) -> bool:
    sizes: dict[int, list[int]] = {}
    for arc in np.flatnonzero(flow):
        items = [int(classes.items[classes.of_arc[arc]])] * int(flow[arc])
        sizes.setdefault(int(classes.pool[arc]), []).extend(items)
    return all(len(first_fit_decreasing(items, int(problem.caps[p]))) <= hosts[p] for p, items in sizes.items())
