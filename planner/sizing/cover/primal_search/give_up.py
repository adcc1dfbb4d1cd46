"""Who goes without where there is no room for all: standbys first, then sites, least weight a cluster first."""

from __future__ import annotations

import numpy as np

from planner.arrays import trues
from planner.fleet import Bools, Ints
from planner.sizing.cover.primal_search.construct import settle
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
    without = np.flatnonzero(may & ~bare & (state.home != NOWHERE))
    for s in sorted(without.tolist(), key=most_worth):
        home = int(state.home[s])
        if state.standby[s] != NOWHERE:
            continue
        state.take_out(s)
        if not settle(state, s, bare):
            state.put(s, home, NOWHERE)
    return may


def _to_blame(state: State) -> tuple[Ints, bool]:
    """Return sites that have part in something broken, and whether it is enough to take their standbys."""
    ground, over = state.ground, state.over()
    if over[:-2].any():
        rows, hosts_over = np.nonzero(over[:-2])
        row, host = int(rows[0]), int(hosts_over[0])
        mine = state.relying_on(host, row)
        if len(mine):
            return mine, True
        return np.flatnonzero(state.home == host), False
    hosts = np.flatnonzero(over[-2])
    if len(hosts):
        return np.flatnonzero(state.home == hosts[0]), False
    limits = np.flatnonzero(state.used > ground.most)
    if len(limits):
        return state.counted_in(int(limits[0])), False
    multi_cluster = np.flatnonzero(state.carried > ground.host_weight)
    return np.flatnonzero(state.home == multi_cluster[0]), False


def _least_worth(state: State, sites: Ints) -> int:
    problem = state.ground.problem
    each = problem.weights[sites] / problem.clusters[sites]
    clusters, kept = problem.clusters[sites], problem.kept[sites]
    order = np.lexsort((sites, -clusters, each, kept))
    return int(sites[order[0]])
