"""What follows when hosts are settled: own tie-breakers less, money for pairs, then moves and round-trip times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import int_array
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.choices import choices, choices_of
from planner.sizing.cover.primal_search.construct import settle
from planner.sizing.cover.primal_search.repair import in_the_way, with_ways_made
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.solvers.budget import SolveBudget

_CLOSE = 1e-9
_PASSES = 4
_LOOKED_AT = 64  # sites that could make way
_PUSHED = 6  # sites that one site may push on, one after the other
_DAMAGE = 1e12  # what a broken cluster counts, and that anything is broken

Put = tuple[int, int, int]  # site, home and standby


def with_own_inside(state: State, bare: Bools) -> State:
    """Return ``state`` in which sites with a possible own tie-breaker use free room, where that costs no more.

    A site that could have no standby on a shared host keeps its own tie-breaker. ``bare`` (S,): as in `Found`.
    """
    problem, state = state.ground.problem, state.copy()
    for s in _with_own(state, bare).tolist():
        if not settle(state, s, bare) or problem.objective != "cost":
            continue
        pair = pair_of(state, int_array([s]))[0]
        if problem.pair_cost[pair] > problem.own_cost[s]:
            state.take_out(s)
    return state


def _with_own(state: State, bare: Bools) -> Ints:
    """Return the sites with their own tie-breaker that may have a standby on a shared host."""
    ground = state.ground
    outside = ground.problem.may_own & (state.home == NOWHERE)
    return np.flatnonzero(outside & ground.coverable & ~bare)


def with_more_inside(state: State, bare: Bools, budget: SolveBudget) -> State:
    """Return ``state`` with fewer own tie-breakers: sites are put where least is broken, and others make way.

    Those of few clusters come first. ``bare`` (S,): as in `Found`.
    """
    state = with_own_inside(state, bare)
    outside = _with_own(state, bare)
    order = np.argsort(state.ground.problem.clusters[outside], kind="stable")
    return with_ways_made(state, outside[order], lambda _: bare, budget)


def pair_of(state: State, sites: Ints) -> Ints:
    """Return the eligible pairs of the homes of ``sites`` (n,)."""
    pools, pairs = state.ground.pools_of
    home = state.pool[state.home[sites]]
    of_home = pools[sites] == home[:, None]
    return np.asarray(pairs[sites, of_home.argmax(axis=1)])


def weighed(costs: Sequence[Floats]) -> Floats:
    """Return one cost a pair for ``costs`` (E,) in order, each of which outweighs all sums of those after it."""
    total = np.zeros_like(costs[0])
    scale = 1.0
    for cost in reversed(costs):
        total = total + cost * scale
        scale *= 1.0 + float(cost.max(initial=0.0)) * 1e3
    return total


@dataclass(frozen=True)
class HomeCost:
    """What homes cost: ``of_pair`` (E,), and ``away`` more where a site is not on the host ``wanted`` (S,), if any.

    -1 in ``wanted``: the site wants no host.
    """

    of_pair: Floats
    wanted: Ints | None = None
    away: float = 0.0

    def at(self, sites: Ints, hosts: Ints, pairs: Ints) -> Floats:
        """Return the cost of each of ``sites`` (n,) on each of its ``hosts`` (n, c), inf where there is none."""
        none = pairs < 0
        cost = self.of_pair[np.where(none, 0, pairs)]
        if self.wanted is not None:
            wish = self.wanted[sites][:, None]
            elsewhere = (wish >= 0) & (hosts != wish)
            cost = cost + self.away * elsewhere
        return np.where(none, np.inf, cost)

    def now(self, state: State, sites: Ints) -> Floats:
        """Return what the homes of ``sites`` (n,) cost."""
        pairs = pair_of(state, sites)
        homes = state.home[sites]
        return self.at(sites, homes[:, None], pairs[:, None])[:, 0]


def settled_by_cost(state: State, bare: Bools, cost: HomeCost, budget: SolveBudget) -> State:
    """Return ``state`` with homes of less total ``cost``, by moves of sites that push others on; hosts stay.

    Ejection chains, F. Glover, Discrete Applied Mathematics 65 (1996) 223-253.
    """
    state = state.copy()
    if not state.hosts:
        return state
    least = np.full(len(state.home), np.inf)
    np.minimum.at(least, state.ground.problem.site, cost.of_pair)
    for _ in range(_PASSES):
        gained = False
        sites = np.flatnonzero(state.home != NOWHERE)
        wish = cost.now(state, sites) - least[sites]
        order = np.argsort(-wish, kind="stable")
        for s in sites[order][wish[order] > _CLOSE].tolist():
            if budget.spent:
                return state
            if _pushed(state, s, bare, cost):
                gained = True
        if not gained:
            break
    return state


def _pushed(state: State, s: int, bare: Bools, cost: HomeCost) -> bool:
    """Move site ``s`` to a cheaper home, and those that it pushes out; undo it where that costs more in all."""
    undo: list[Put] = []
    moved = {s}
    gain = _step(state, s, bare, cost, undo)
    while gain is not None and state.violation() > _CLOSE and len(moved) <= _PUSHED:
        blocking = in_the_way(state)[:_LOOKED_AT].tolist()
        others = int_array([i for i in blocking if i not in moved])
        chosen = _cheapest_way_out(state, others, bare, cost, gain)
        if chosen is None:
            gain = None
            break
        put, more = chosen
        undo.append(_moved(state, put))
        moved.add(put[0])
        gain -= more
    if gain is not None and gain > _CLOSE and state.violation() <= _CLOSE:
        return True
    for put in reversed(undo):
        _moved(state, put)
    return False


def _moved(state: State, put: Put) -> Put:
    """Put a site elsewhere, and return where it was."""
    s, home, standby = put
    before = s, int(state.home[s]), int(state.standby[s])
    state.take_out(s)
    state.put(s, home, standby)
    return before


def _step(state: State, s: int, bare: Bools, cost: HomeCost, undo: list[Put]) -> float | None:
    """Put ``s`` on the home that gains most for what it breaks; return the gain, None for none."""
    found = choices_of(state, s, bare)
    each = cost.at(found.sites, found.hosts, found.pairs)
    gain = cost.now(state, found.sites) - each[0]
    broken = found.broken[0]
    helps = gain > _CLOSE
    allowed = np.isfinite(broken) & helps[:, None]
    if not allowed.any():
        return None
    # Of homes that gain something: what breaks nothing first, by gain; else what breaks least.
    damage = (broken > _CLOSE) * (1.0 + broken) * _DAMAGE
    rank = np.where(allowed, damage - gain[:, None], np.inf)
    best = int(rank.argmin())
    undo.append(_moved(state, (s, *found.at(0, best))))
    return float(gain[best // rank.shape[1]])


def _cheapest_way_out(state: State, sites: Ints, bare: Bools, cost: HomeCost, below: float) -> tuple[Put, float] | None:
    """Return the move that mends most for less than ``below``, and what it costs more; or None."""
    if not len(sites):
        return None
    found = choices(state, sites, np.ones(state.hosts), bare)
    mended = -found.worse_than_now()
    standbys = found.hosts.shape[1] + 1
    each = cost.at(sites, found.hosts, found.pairs)
    now = cost.now(state, sites)
    more = np.repeat(each - now[:, None], standbys, axis=1)
    allowed = (mended > _CLOSE) & (more < below - _CLOSE)
    if not allowed.any():
        return None
    rank = np.where(allowed, more - 1e9 * mended, np.inf)
    n, position = divmod(int(rank.argmin()), rank.shape[1])
    put = int(sites[n]), *found.at(n, position)
    return put, float(more[n, position])
