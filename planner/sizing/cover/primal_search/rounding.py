"""Whole sites on single hosts, near shares of pools: classes divided by largest remainders, sites dealt out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.choices import choices_of, reserve_added
from planner.sizing.cover.primal_search.pool_relaxation import PoolProgram, Shares
from planner.sizing.cover.primal_search.repair import force_in
from planner.sizing.cover.primal_search.state import NOWHERE, Ground, State

_BROKEN = 1e6  # what is broken counts before all else
_RATHER = 1e5  # then the host that a site would rather have
_RESERVE = 3.0  # a cluster of reserve that is added weighs as much as so many on the host at home
_EVEN = 0.01  # and a cluster on the standby, where nothing else decides


@dataclass(frozen=True)
class Wishes:
    """The pools that ``sites`` (n,) should have as ``home`` and ``standby`` (n,), -1 for none.

    ``host`` (n,): which of the hosts of its home pool a site would rather have, counted from 0; -1 for any.
    """

    sites: Ints
    home: Ints
    standby: Ints
    host: Ints


def rounded(program: PoolProgram, hosts: Ints, shares: Shares, bare: Bools) -> State | None:
    """Return a state with ``hosts`` (P,) near ``shares``, which may break something; None where a site finds no host.

    ``bare`` (S,) marks sites that may do without a standby.
    """
    choice = _choice_of_site(program, shares.flow)
    home, standby = (np.where(choice < 0, NOWHERE, of[choice]) for of in (program.home, program.standby))
    return dealt(program.ground, hosts, Wishes(program.sites, home, standby, np.full(len(home), NOWHERE)), bare)


def dealt(ground: Ground, hosts: Ints, wishes: Wishes, bare: Bools) -> State | None:
    """Return a state with ``hosts`` (P,) in which sites are where they wish, or near it.

    It may break something; None where a site finds no host. ``bare`` (S,): as in `rounded`.
    """
    state = State(ground)
    for p in np.repeat(np.arange(len(hosts)), hosts).tolist():
        state.open(p)
    clusters = ground.problem.clusters
    first = np.cumsum(hosts) - hosts
    rather = np.where(wishes.host < 0, NOWHERE, first[wishes.home] + wishes.host)
    left = []
    for i in np.lexsort((wishes.sites, -clusters[wishes.sites])).tolist():
        s, home, standby = (int(of[i]) for of in (wishes.sites, wishes.home, wishes.standby))
        if home < 0 or not _deal(state, s, (home, standby, int(rather[i])), bare):
            left.append(s)
    return state if force_in(state, np.array(left, dtype=np.int64), bare) else None


def _choice_of_site(program: PoolProgram, flow: Floats) -> Ints:
    """Return a choice of the program for each of its sites, -1 for none."""
    classes = program.classes
    found = np.full(len(classes.of_site), -1, dtype=np.int64)
    members = np.argsort(classes.of_site, kind="stable")
    first = np.concatenate(([0], np.cumsum(classes.size)))
    of_kind = np.concatenate(([0], np.cumsum(np.bincount(program.kind, minlength=classes.count))))
    for c in range(classes.count):
        mine = flow[of_kind[c] : of_kind[c + 1]]
        whole = np.floor(mine + 1e-9).astype(np.int64)
        short = int(classes.size[c]) - int(whole.sum())
        if short > 0 and len(mine):
            whole[np.argsort(whole - mine, kind="stable")[:short]] += 1
        chosen = np.repeat(np.arange(of_kind[c], of_kind[c + 1]), whole)[: classes.size[c]]
        found[members[first[c] : first[c] + len(chosen)]] = chosen
    return found


def _deal(state: State, s: int, wish: tuple[int, int, int], bare: Bools) -> bool:
    """Put site ``s`` where it fits best; False for nowhere. ``wish``: its pool, that of its standby, its host."""
    p, q, rather = wish
    found = choices_of(state, s, bare)
    hosts = found.hosts[0]
    if not len(hosts):
        return False
    at = np.where(hosts < 0, 0, hosts)
    pool = np.where(hosts < 0, -1, state.pool[at])
    peak = state.peak()
    taken = state.load + peak
    cost = found.broken[0] * _BROKEN + taken[at][:, None]
    cost[:, :-1] += _RESERVE * reserve_added(state, s, at, peak) + _EVEN * taken[at][None, :]
    cost[hosts == rather] -= _RATHER
    allowed = np.zeros(cost.shape, dtype=np.bool_)
    allowed[:, :-1] = (pool == p)[:, None] & (pool == q)[None, :]
    allowed[:, -1] = (pool == p) if q < 0 else False
    cost = np.where(allowed, cost, np.inf)
    best = int(cost.argmin())
    if not np.isfinite(cost.ravel()[best]):
        return False
    state.put(s, *found.at(0, best))
    return True
