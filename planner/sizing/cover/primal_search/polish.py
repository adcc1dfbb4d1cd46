"""What follows when hosts are settled: own tie-breakers less, money for pairs, then moves and round-trip times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import int_array
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.primal_search.choices import choices, choices_of
from planner.sizing.cover.primal_search.construct import settle
from planner.sizing.cover.primal_search.repair import force_in, in_the_way, repair
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.solvers.budget import SolveBudget

_CLOSE = 1e-9
_PASSES = 4
_LOOKED_AT = 64  # sites that could make way
_WAY_STEPS, _IN_VAIN = 200, 30  # of repair, for a site that others make way for; such sites one after the other
_PUSHED = 6  # sites that one site may push on, one after the other


def with_own_inside(state: State, bare: Bools) -> State:
    """Return ``state`` in which sites with a possible own tie-breaker use free room, where that costs no more.

    A site that could have no standby on a shared host keeps its own tie-breaker. ``bare`` (S,): as in `Found`.
    """
    problem, state = state.ground.problem, state.copy()
    own = problem.may_own & (state.home == NOWHERE) & state.ground.coverable & ~bare
    for s in np.flatnonzero(own).tolist():
        if not settle(state, s, bare) or problem.objective != "cost":
            continue
        pair = pair_of(state, np.array([s]))[0]
        if problem.pair_cost[pair] > problem.own_cost[s]:
            state.take_out(s)
    return state


def with_more_inside(state: State, bare: Bools, budget: SolveBudget) -> State:
    """Return ``state`` with fewer own tie-breakers: sites are put where least is broken, and others make way.

    Those of few clusters come first. ``bare`` (S,): as in `Found`.
    """
    problem, state = state.ground.problem, with_own_inside(state, bare)
    outside = np.flatnonzero(problem.may_own & (state.home == NOWHERE) & state.ground.coverable & ~bare)
    rng, in_vain = np.random.default_rng(budget.seed), 0
    for s in outside[np.argsort(problem.clusters[outside], kind="stable")].tolist():
        trial = state.copy()
        if force_in(trial, int_array([s]), bare) and repair(trial, bare, _WAY_STEPS, rng, budget):
            state, in_vain = trial, 0
            continue
        in_vain += 1
        if in_vain == _IN_VAIN or budget.spent:
            break
    return state


def pair_of(state: State, sites: Ints) -> Ints:
    """Return the eligible pairs of the homes of ``sites`` (n,)."""
    pools, pairs = state.ground.pools_of
    home = state.pool[state.home[sites]]
    at = (pools[sites] == home[:, None]).argmax(axis=1)
    return np.asarray(pairs[sites, at])


def weighed(costs: Sequence[Floats]) -> Floats:
    """Return one cost a pair for ``costs`` (E,) in order, each of which outweighs all sums of those after it."""
    total = np.zeros(len(costs[0])) if costs else np.zeros(0)
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
        pairs = pair_of(state, sites)[:, None]
        return self.at(sites, state.home[sites][:, None], pairs)[:, 0]


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
    undo: list[tuple[int, int, int]] = []
    moved = {s}
    best, chain = 0.0, s
    gain = _step(state, chain, bare, cost, undo, best)
    while gain is not None and state.violation() > _CLOSE and len(moved) <= _PUSHED:
        blocking = in_the_way(state)[:_LOOKED_AT].tolist()
        others = int_array([i for i in blocking if i not in moved])
        chosen = _cheapest_way_out(state, others, bare, cost, gain)
        if chosen is None:
            gain = None
            break
        i, home, standby, more = chosen
        undo.append((i, int(state.home[i]), int(state.standby[i])))
        state.take_out(i)
        state.put(i, home, standby)
        moved.add(i)
        gain -= more
    if gain is not None and gain > _CLOSE and state.violation() <= _CLOSE:
        return True
    for i, home, standby in reversed(undo):
        state.take_out(i)
        state.put(i, home, standby)
    return False


def _step(
    state: State, s: int, bare: Bools, cost: HomeCost, undo: list[tuple[int, int, int]], least: float
) -> float | None:
    """Put ``s`` on the home that gains most for what it breaks; return the gain, None for none."""
    found = choices_of(state, s, bare)
    each = cost.at(found.sites, found.hosts, found.pairs)[0]
    gain = cost.now(state, found.sites)[0] - each
    broken = found.broken[0]
    allowed = np.isfinite(broken) & (gain > least + _CLOSE)[:, None]
    if not allowed.any():
        return None
    # Of homes that gain something: what breaks nothing first, by gain; else what breaks least.
    damage = np.where(broken <= _CLOSE, 0.0, 1e12 * (1.0 + broken))
    rank = np.where(allowed, damage - gain[:, None], np.inf)
    best = int(rank.argmin())
    undo.append((s, int(state.home[s]), int(state.standby[s])))
    state.take_out(s)
    state.put(s, *found.at(0, best))
    return float(gain[best // broken.shape[1]])


def _cheapest_way_out(
    state: State, sites: Ints, bare: Bools, cost: HomeCost, below: float
) -> tuple[int, int, int, float] | None:
    """Return site, home, standby and further cost of the move that mends most for less than ``below``, or None."""
    if not len(sites):
        return None
    found = choices(state, sites, np.ones(state.hosts), bare)
    flat = found.flat()
    mended = np.take_along_axis(flat, found.now[:, None], axis=1) - flat
    wide = found.hosts.shape[1] + 1
    each = cost.at(sites, found.hosts, found.pairs)
    now = cost.now(state, sites)[:, None]
    more = np.repeat(each - now, wide, axis=1)
    helps = np.isfinite(flat) & (mended > _CLOSE)
    allowed = helps & (more < below - _CLOSE)
    rank = np.where(allowed, more - 1e9 * mended, np.inf)
    n, position = np.unravel_index(int(rank.argmin()), rank.shape)
    if not np.isfinite(rank[n, position]):
        return None
    home, standby = found.at(int(n), int(position))
    return int(sites[n]), home, standby, float(more[n, position])
