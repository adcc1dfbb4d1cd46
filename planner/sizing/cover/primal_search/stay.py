"""Sites back on the very host of their pool that they have today, by moves and exchanges that break nothing."""

from __future__ import annotations

import numpy as np

from planner.fleet import Bools, Ints
from planner.sizing.cover.primal_search.construct import settle_on
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
        placed = (wanted >= 0) & (state.home != NOWHERE)
        away = np.flatnonzero(placed & (state.home != wanted))
        pool_now, pool_wanted = state.pool[[state.home[away], wanted[away]]]
        could_go_back = away[pool_now == pool_wanted].tolist()
        gained = [s for s in could_go_back if _gone_back(state, s, wanted, bare)]
        if not gained:
            break
    return state


def _gone_back(state: State, s: int, wanted: Ints, bare: Bools) -> bool:
    host = int(wanted[s])
    return _moved(state, s, host, bare) or _exchanged(state, s, wanted, bare)


def _moved(state: State, s: int, host: int, bare: Bools) -> bool:
    """Put site ``s`` on ``host`` where that breaks nothing; False, and as before, where it would."""
    home = int(state.home[s])
    standby = int(state.standby[s])
    state.take_out(s)
    if settle_on(state, s, host, bare, _CLOSE):
        return True
    state.put(s, home, standby)
    return False


def _exchanged(state: State, s: int, wanted: Ints, bare: Bools) -> bool:
    """Exchange the hosts of ``s`` and of a site on the host that it wants, which is not there by its own wish."""
    there = int(wanted[s])
    here = int(state.home[s])
    clusters = state.ground.problem.clusters
    moveable = (state.home == there) & (wanted != there)
    others = np.flatnonzero(moveable)
    larger_by = clusters[others] - clusters[s]
    glad = 0.5 * (wanted[others] == here)
    near = np.abs(larger_by) - glad
    for t in others[np.argsort(near, kind="stable")][:_PARTNERS].tolist():
        standbys = int(state.standby[s]), int(state.standby[t])
        state.take_out(s)
        state.take_out(t)
        if settle_on(state, s, there, bare, _CLOSE) and settle_on(state, t, here, bare, _CLOSE):
            return True
        for i, home, standby in zip((s, t), (here, there), standbys, strict=True):
            state.take_out(i)
            state.put(i, home, standby)
    return False
