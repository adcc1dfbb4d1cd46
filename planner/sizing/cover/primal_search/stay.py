"""Sites back on the very host of their pool that they have today, by moves and exchanges that break nothing."""

from __future__ import annotations

import numpy as np

from planner.fleet import Bools, Ints
from planner.sizing.cover.primal_search.choices import choices
from planner.sizing.cover.primal_search.state import NOWHERE, State

_CLOSE = 1e-9
_PASSES = 3
_PARTNERS = 12  # sites with which one exchanges hosts, at most


def back_on(state: State, wanted: Ints) -> State:
    """Return ``state`` with more sites on the host ``wanted`` (S,), -1 for none; pools stay, and so do sites bare.

    A site gives up the host that it wants only where the other one gains as much.
    """
    state = state.copy()
    bare = (state.home != NOWHERE) & (state.standby == NOWHERE)
    for _ in range(_PASSES):
        away = np.flatnonzero((wanted >= 0) & (state.home != NOWHERE) & (state.home != wanted))
        away = away[state.pool[state.home[away]] == state.pool[wanted[away]]]
        gained = [
            s for s in away.tolist() if _moved(state, s, int(wanted[s]), bare) or _exchanged(state, s, wanted, bare)
        ]
        if not gained:
            break
    return state


def _moved(state: State, s: int, host: int, bare: Bools) -> bool:
    """Put site ``s`` on ``host`` where that breaks nothing; False, and as before, where it would."""
    home = int(state.home[s])
    standby = int(state.standby[s])
    state.take_out(s)
    if _placed(state, s, host, bare):
        return True
    state.put(s, home, standby)
    return False


def _exchanged(state: State, s: int, wanted: Ints, bare: Bools) -> bool:
    """Exchange the hosts of ``s`` and of a site on the host that it wants, which is not there by its own wish."""
    there = int(wanted[s])
    here = int(state.home[s])
    clusters = state.ground.problem.clusters
    others = np.flatnonzero((state.home == there) & (wanted != there))
    near = np.abs(clusters[others] - clusters[s]) - 0.5 * (wanted[others] == here)
    for t in others[np.argsort(near, kind="stable")][:_PARTNERS].tolist():
        before = [(i, int(state.home[i]), int(state.standby[i])) for i in (s, t)]
        for i in (s, t):
            state.take_out(i)
        if _placed(state, s, there, bare) and _placed(state, t, here, bare):
            return True
        for i, home, standby in before:
            state.take_out(i)
            state.put(i, home, standby)
    return False


def _placed(state: State, s: int, host: int, bare: Bools) -> bool:
    """Put site ``s``, which is nowhere, on ``host`` where that breaks nothing; False where it would."""
    found = choices(state, np.array([s]), np.ones(state.hosts), bare)
    cost = np.where((found.hosts[0] == host)[:, None], found.broken[0], np.inf)
    best = int(cost.argmin())
    if cost.ravel()[best] > _CLOSE:
        return False
    state.put(s, *found.at(0, best))
    return True
