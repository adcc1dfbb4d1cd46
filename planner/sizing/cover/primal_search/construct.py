"""A first plan: sites with fewest choices first, each where its standby asks for least further reserve."""

from __future__ import annotations

import numpy as np

from planner.arrays import falses, int_array, totals
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.choices import Choices, choices_of, reserve_added
from planner.sizing.cover.primal_search.state import State
from planner.sizing.solution.prices import Prices

_TRIED = 4  # pools in which a host is opened for a site by itself
_CLOSE = 1e-9
_BROKEN = 1e9  # what is broken counts before the reserve that is asked for


def in_order(state: State, sites: Ints) -> Ints:
    """Return ``sites``: who is to be kept served, then who has the fewest hosts to choose from, then most clusters."""
    problem = state.ground.problem
    rooms = np.minimum(problem.max_hosts, 3)  # one to live on, one to stand by, one more
    of_pair = rooms[problem.pool]
    choice = totals(problem.site, of_pair, problem.sites)
    clusters, kept = problem.clusters[sites], problem.kept[sites]
    order = np.lexsort((sites, -clusters, choice[sites], ~kept))
    return sites[order]


def construct(state: State, sites: Ints, bare: Bools, prices: Prices) -> Ints:
    """Put ``sites`` (n,) somewhere, opening hosts where none has room; return those that found no place.

    ``bare`` (S,) marks sites that may do without a standby; ``prices`` are those of hosts.
    """
    waiting = falses(state.ground.problem.sites)
    waiting[sites] = True
    failed = []
    for s in in_order(state, sites).tolist():
        settled = settle(state, s, bare) or _settle_with_hosts(state, s, bare, waiting, prices)
        if not settled:
            failed.append(s)
        waiting[s] = False
    return int_array(failed)


def settle(state: State, s: int, bare: Bools) -> bool:
    """Put site ``s`` where nothing breaks and least further reserve is asked for; False where nothing fits."""
    if not state.hosts:
        return False
    found = choices_of(state, s, bare)
    fits = found.broken[0] <= _CLOSE
    return settle_cheapest(state, found, np.where(fits, _asks(state, found), np.inf))


def settle_on(state: State, s: int, host: int, bare: Bools, most_broken: float) -> bool:
    """Put site ``s``, which is nowhere, on ``host`` with the standby that breaks least; False where it may have none.

    No more than ``most_broken`` may be broken by it. Of standbys that break as much, the one that asks for least
    further reserve is taken.
    """
    found = choices_of(state, s, bare)
    at_host = found.hosts[0] == host
    broken = found.broken[0]
    allowed = at_host[:, None] & (broken <= most_broken)
    cost = broken * _BROKEN + _asks(state, found)
    return settle_cheapest(state, found, np.where(allowed, cost, np.inf))


def settle_cheapest(state: State, found: Choices, cost: Floats) -> bool:
    """Put the one site of ``found`` where ``cost`` (c, c + 1) is least; False where it is inf throughout."""
    if not np.isfinite(cost).any():
        return False
    best = int(cost.argmin())
    state.put(int(found.sites[0]), *found.at(0, best))
    return True


def _asks(state: State, found: Choices) -> Floats:
    """Return what each choice of the one site of ``found`` asks for: further reserve, then room left unused."""
    s = int(found.sites[0])
    hosts = found.hosts[0]
    at = np.where(hosts < 0, 0, hosts)
    peak = state.peak()
    free = (state.room - state.load - peak)[at]
    reserve = reserve_added(state, s, at, at, peak)
    asks = np.zeros((len(at), len(at) + 1))
    asks[:, :-1] = reserve * 1000.0  # no standby asks for none
    asks += free[:, None]
    return asks


def _settle_with_hosts(state: State, s: int, bare: Bools, waiting: Bools, prices: Prices) -> bool:
    """Open a host, or two, that site ``s`` and most of those ``waiting`` (S,) can use; False where it does not help."""
    for p in _by_use(state, s, waiting, prices)[:_TRIED]:
        first = state.open(p)
        if settle(state, s, bare):
            return True
        for q in _by_use(state, s, waiting, prices):
            second = state.open(q)
            if settle(state, s, bare):
                return True
            state.close(second)
        state.close(first)
    return False


def _by_use(state: State, s: int, waiting: Bools, prices: Prices) -> list[int]:
    """Return the pools of ``s`` that may run one more host, those first that serve most waiting clusters for it."""
    problem = state.ground.problem
    pools = problem.pool[problem.pairs_of(s)]
    count = state.count()
    may = pools[problem.may_grow(count)[pools]]
    wanted = np.where(waiting, problem.clusters, 0)
    reach = totals(problem.pool, wanted[problem.site], problem.pools)
    used = np.minimum(reach, problem.caps)
    price = np.maximum(prices.next(count), _CLOSE)
    worth = used / price
    order = np.lexsort((may, -reach[may], -worth[may]))
    by_worth: list[int] = may[order].tolist()
    return by_worth
