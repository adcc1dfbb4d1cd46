"""Whole sites on single hosts, near shares of pools: classes divided by largest remainders, sites dealt out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import indices, int_array, minus_ones, offsets, places, totals
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.choices import broken_behind, broken_on, reserve_added
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.pool_relaxation import PoolProgram, Shares
from planner.sizing.cover.primal_search.repair import force_in
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.instance.classes import Classes

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
    choice = choice_of_site(program.classes, program.kind, shares.flow)
    home = np.where(choice < 0, NOWHERE, program.home[choice])
    standby = np.where(choice < 0, NOWHERE, program.standby[choice])
    any_host = minus_ones(len(home))
    wishes = Wishes(program.sites, home, standby, any_host)
    return dealt(program.ground, hosts, wishes, bare)


def dealt(ground: Ground, hosts: Ints, wishes: Wishes, bare: Bools) -> State | None:
    """Return a state with ``hosts`` (P,) in which sites are where they wish, or near it.

    It may break something; None where a site finds no host. ``bare`` (S,): as in `rounded`.
    """
    state = State(ground)
    for p in np.repeat(indices(hosts), hosts).tolist():
        state.open(p)
    clusters = ground.problem.clusters[wishes.sites]
    in_pool = offsets(hosts)[wishes.home] + wishes.host
    rather = np.where(wishes.host < 0, NOWHERE, in_pool)
    wished = np.column_stack((wishes.sites, wishes.home, wishes.standby, rather))
    largest_first = np.lexsort((wishes.sites, -clusters))
    left = []
    for s, *wish in wished[largest_first].tolist():
        if wish[0] < 0 or not _deal(state, s, wish, bare):
            left.append(s)
    return state if force_in(state, int_array(left), bare) else None


def choice_of_site(classes: Classes, kind: Ints, flow: Floats) -> Ints:
    """Return a choice for each site of ``classes``, -1 for none; ``flow`` (X,) sites of the class ``kind`` (X,).

    Choices are in order of their classes.
    """
    whole = np.floor(flow + 1e-9).astype(np.int64)
    settled = totals(kind, whole, classes.count)
    short = classes.size - settled
    largest_remainder = np.lexsort((whole - flow, kind))
    whole[largest_remainder] += places(kind) < short[kind]
    choice = np.repeat(indices(kind), whole)
    of_class = kind[choice]
    place = places(of_class)
    fits = place < classes.size[of_class]
    members = np.argsort(classes.of_site, kind="stable")
    member = offsets(classes.size)[of_class] + place
    site = members[member[fits]]
    found = minus_ones(len(members))
    found[site] = choice[fits]
    return found


def _deal(state: State, s: int, wish: Sequence[int], bare: Bools) -> bool:
    """Put site ``s`` where it fits best; False for nowhere. ``wish``: its pool, that of its standby, its host."""
    home, standby, rather = wish
    homes = state.hosts_of(home)
    peak = state.peak()
    taken = state.load + peak
    broken = broken_on(state, s, homes)
    at_home = broken * _BROKEN + taken[homes]
    cost = at_home[:, None]
    standbys = minus_ones(1)
    if standby != NOWHERE:
        standbys = state.hosts_of(standby)
        behind = broken_behind(state, s, homes, standbys)
        cost = cost + behind * _BROKEN
        cost += _RESERVE * reserve_added(state, s, homes, standbys, peak)
        cost += _EVEN * taken[standbys]
    elif not bare[s]:
        return False
    cost[homes == rather] -= _RATHER
    if not np.isfinite(cost).any():
        return False
    best = int(cost.argmin())
    first, second = divmod(best, len(standbys))
    state.put(s, homes[first], standbys[second])
    return True
