"""Room where there seems to be none: sites go to where least is broken, with memory, until nothing is.

Minimal conflicts (S. Minton et al., Artificial Intelligence 58 (1992) 161-205) with a tabu list (F. Glover, ORSA
Journal on Computing 1 (1989) 190-206) and weights that grow on hosts which stay overfull (P. Morris, AAAI 1993).
"""

from __future__ import annotations

import numpy as np

from planner.fleet import Bools, Ints
from planner.sizing.cover.primal_search.choices import choices
from planner.sizing.cover.primal_search.state import State
from planner.sizing.solvers.budget import SolveBudget

_LOOKED_AT = 24  # sites at a time
_CLOSE = 1e-9


def force_in(state: State, sites: Ints, bare: Bools) -> bool:
    """Put ``sites`` (n,) where least is broken; False where one of them has no host to use."""
    for s in sites.tolist():
        found = choices(state, np.array([s]), np.ones(state.hosts), bare)
        cost = found.flat()[0]
        if not cost.size or not np.isfinite(cost.min()):
            return False
        state.put(s, *found.at(0, int(cost.argmin())))
    return True


def repair(state: State, bare: Bools, steps: int, rng: np.random.Generator, budget: SolveBudget) -> bool:
    """Move sites, at most ``steps`` times, until nothing is broken; say whether that came about.

    The best state that was met is kept. ``bare`` (S,) marks sites that may do without a standby.
    """
    weight = np.ones(state.hosts)
    tabu = np.zeros(len(state.home), dtype=np.int64)
    worst, best = state.violation(), state.copy()
    for step in range(1, steps + 1):
        now = state.violation()
        if now < worst - _CLOSE:
            worst, best = now, state.copy()
        if now <= _CLOSE or budget.spent:
            break
        sites = rng.permutation(in_the_way(state, rng))[:_LOOKED_AT]
        free = sites[tabu[sites] < step]
        if not len(free):
            continue
        found = choices(state, free, weight, bare)
        cost = found.flat()
        delta = cost - np.take_along_axis(cost, found.now[:, None], axis=1)
        np.put_along_axis(delta, found.now[:, None], np.inf, axis=1)
        least = delta.min()
        if not np.isfinite(least):
            continue
        if least >= -_CLOSE:
            over = state.over().sum(axis=0)
            weight[over > 0] += 0.3
        n, position = np.unravel_index(rng.choice(np.flatnonzero(delta.ravel() <= least + _CLOSE)), delta.shape)
        s = int(free[n])
        state.take_out(s)
        state.put(s, *found.at(int(n), int(position)))
        tabu[s] = step + 5 + int(rng.integers(10))
    _become(state, best)
    return worst <= _CLOSE


def in_the_way(state: State, rng: np.random.Generator | None = None) -> Ints:
    """Return the sites that have part in one thing that is broken, the first one or one by chance."""
    ground = state.ground
    over = state.over()
    rows, hosts = np.nonzero(over)
    beyond = np.flatnonzero(state.used > ground.most)
    multi_cluster = np.flatnonzero(state.carried > ground.host_weight)
    pick = 0 if rng is None else int(rng.integers(len(rows) + len(beyond) + len(multi_cluster)))
    if pick < len(rows):
        host, loss = int(hosts[pick]), int(rows[pick])
        return np.union1d(np.flatnonzero(state.home == host), state.relying_on(host, loss))
    pick -= len(rows)
    if pick < len(beyond):
        return state.counted_in(int(beyond[pick]))
    return np.flatnonzero(state.home == multi_cluster[pick - len(beyond)])


def _become(state: State, other: State) -> None:
    state.__dict__.update(other.__dict__)
