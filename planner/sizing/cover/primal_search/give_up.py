"""Who goes without where there is no room for all: standbys first, then sites, least weight a cluster first."""

from __future__ import annotations

import numpy as np

from planner.arrays import trues
from planner.fleet import Bools, Ints
from planner.sizing.cover.primal_search.construct import settle
from planner.sizing.cover.primal_search.repair import in_the_way
from planner.sizing.cover.primal_search.state import NOWHERE, State

_CLOSE = 1e-9


def give_up(state: State, bare: Bools) -> Bools:
    """Take standbys and sites out until nothing is broken, let in again who fits, and return who may lack a standby.

    ``bare`` (S,) marks those that may do so from the start. Nothing is taken out where nothing is broken.
    """
    gone: list[int] = []
    may = bare.copy()
    while state.violation() > _CLOSE:
        sites, standby_only = _to_blame(state)
        s = _least_worth(state, sites)
        home = int(state.home[s])
        state.take_out(s)
        if standby_only:
            state.put(s, home, NOWHERE)
            may[s] = True
        else:
            gone.append(s)
    everybody = trues(len(bare))
    worth = state.ground.problem.weights
    kept = state.ground.problem.kept

    def most_worth(s: int) -> tuple[bool, float, int]:
        return not kept[s], -worth[s], s

    for s in sorted(gone, key=most_worth):
        if not settle(state, s, bare) and settle(state, s, everybody):
            may[s] = True
    lacking = may & ~bare & (state.standby == NOWHERE)
    inside = np.flatnonzero(lacking & (state.home != NOWHERE))
    for s in sorted(inside.tolist(), key=most_worth):
        home = int(state.home[s])
        state.take_out(s)
        if not settle(state, s, bare):
            state.put(s, home, NOWHERE)
    return may


def _to_blame(state: State) -> tuple[Ints, bool]:
    """Return sites that have part in something broken, and whether it is enough to take their standbys."""
    overfull = np.argwhere(state.over()).tolist()
    if overfull:
        loss, host = overfull[0]  # the ordinary day comes last
        mine = state.relying_on(host, loss)
        return (mine, True) if len(mine) else (state.at_home(host), False)
    return in_the_way(state), False


def _least_worth(state: State, sites: Ints) -> int:
    problem = state.ground.problem
    clusters = problem.clusters[sites]
    of_cluster = problem.weights[sites] / clusters
    order = np.lexsort((sites, -clusters, of_cluster, problem.kept[sites]))
    return int(sites[order[0]])
