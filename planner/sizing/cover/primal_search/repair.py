"""Room where there seems to be none: sites go to where least is broken, with memory, until nothing is.

Minimal conflicts (S. Minton et al., Artificial Intelligence 58 (1992) 161-205) with a tabu list (F. Glover, ORSA
Journal on Computing 1 (1989) 190-206) and weights that grow on hosts which stay overfull (P. Morris, AAAI 1993).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from planner.arrays import indices, int_array, int_zeros
from planner.fleet import Bools, Ints
from planner.sizing.cover.primal_search.choices import choices, choices_of
from planner.sizing.cover.primal_search.construct import settle_cheapest
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.solvers.budget import SolveBudget

_LOOKED_AT = 24  # sites at a time
_STEPS_OF_A_SITE = 50  # at most: where there is no room, the search does not end before its steps do
_WAY_STEPS = 200  # for one site that others make way for
_IN_VAIN = 30  # such sites, one after the other
_CLOSE = 1e-9


def force_in(state: State, sites: Ints, bare: Bools) -> bool:
    """Put ``sites`` (n,) where least is broken; False where one of them has no host to use."""
    if not state.hosts:
        return not len(sites)
    for s in sites.tolist():
        found = choices_of(state, s, bare)
        if not settle_cheapest(state, found, found.broken[0]):
            return False
    return True


def with_ways_made(state: State, sites: Ints, may_lack: Callable[[State], Bools], budget: SolveBudget) -> State:
    """Return ``state`` with those of ``sites`` (n,) put anew that lack a standby and for which others make way.

    Ends where many were tried in vain. ``may_lack`` marks the sites that may do without a standby in a state, (S,).
    """
    rng, in_vain = np.random.default_rng(budget.seed), 0
    for s in sites.tolist():
        if state.standby[s] != NOWHERE:
            continue
        if in_vain == _IN_VAIN or budget.spent:
            break
        trial = state.copy()
        trial.take_out(s)
        bare = may_lack(trial)
        if force_in(trial, int_array([s]), bare) and repair(trial, bare, _WAY_STEPS, rng, budget):
            state, in_vain = trial, 0
        else:
            in_vain += 1
    return state


def repair(state: State, bare: Bools, steps: int, rng: np.random.Generator, budget: SolveBudget) -> bool:
    """Move sites, at most ``steps`` times, until nothing is broken; say whether that came about.

    Few sites take few steps. The best state that was met is kept. ``bare`` (S,) marks sites that may do without a
    standby.
    """
    weight = np.ones(state.hosts)
    tabu = int_zeros(len(state.home))
    worst, best = state.violation(), state.copy()
    enough = min(steps, _STEPS_OF_A_SITE * len(tabu))
    for step in range(1, enough + 1):
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
        worse = found.worse_than_now()
        worse[indices(free), found.now] = np.inf
        least = worse.min()
        if not np.isfinite(least):
            continue
        if least >= -_CLOSE:
            weight[state.over().any(axis=0)] += 0.3
        as_good = np.argwhere(worse <= least + _CLOSE).tolist()
        n, position = as_good[rng.integers(len(as_good))]
        s = int(free[n])
        state.take_out(s)
        state.put(s, *found.at(n, position))
        resting = 5 + int(rng.integers(10))
        tabu[s] = step + resting
    _become(state, best)
    return worst <= _CLOSE


def in_the_way(state: State, rng: np.random.Generator | None = None) -> Ints:
    """Return the sites that have part in one thing that is broken, the first one or one by chance."""
    overfull = np.argwhere(state.over()).tolist()
    beyond = np.flatnonzero(state.used > state.ground.most).tolist()
    too_heavy = np.flatnonzero(state.carried > state.ground.host_weight).tolist()
    broken = len(overfull) + len(beyond) + len(too_heavy)
    pick = 0 if rng is None else int(rng.integers(broken))
    if pick < len(overfull):
        loss, host = overfull[pick]
        return np.union1d(state.at_home(host), state.relying_on(host, loss))
    pick -= len(overfull)
    if pick < len(beyond):
        return state.counted_in(beyond[pick])
    return state.at_home(too_heavy[pick - len(beyond)])


def _become(state: State, other: State) -> None:
    state.__dict__.update(other.__dict__)
