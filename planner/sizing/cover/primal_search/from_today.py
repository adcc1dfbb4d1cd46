"""The assignment in force as a plan to begin with: who has a host keeps it, and standbys are found for all."""

from __future__ import annotations

import numpy as np

from planner.fleet import Bools
from planner.sizing.cover.primal_search.choices import choices
from planner.sizing.cover.primal_search.construct import asks
from planner.sizing.cover.primal_search.polish import pair_of
from planner.sizing.cover.primal_search.repair import force_in, repair
from planner.sizing.cover.primal_search.state import NOWHERE, Ground, State
from planner.sizing.cover.standbys import find_standbys
from planner.sizing.instance.case import Case
from planner.sizing.solution.seating import Seat, Seating
from planner.sizing.solvers.budget import SolveBudget

_STEPS = 2_000  # of repair
_SPARE, _POOLS = 4, 40  # hosts that are added at most, and pools in which each is tried
_BROKEN = 1e9  # what is broken counts before the reserve that is asked for


def state_of_today(case: Case, ground: Ground, bare: Bools, budget: SolveBudget) -> State | None:
    """Return a state in which sites are on their hosts of today, and the others where least is broken.

    ``bare`` (S,) marks sites that may do without a standby. None where nobody has a host, or where something stays
    broken.
    """
    problem, names = case.problem, case.in_force.host
    if np.isfinite(problem.own_cost).any() or not case.incumbent.any():
        return None
    pool_of = {name: p for p, mine in enumerate(case.today.names) for name in mine}
    today = dict(zip(problem.site[case.incumbent].tolist(), problem.pool[case.incumbent].tolist(), strict=True))
    staying = [s for s, p in today.items() if pool_of.get(names[s]) == p]
    state = State(ground)
    number = {name: state.open(pool_of[name]) for name in sorted({names[s] for s in staying})}
    if not state.hosts or (state.count() > problem.max_hosts).any():
        return None
    order = sorted(staying, key=lambda s: (-int(problem.clusters[s]), s))
    placed = [s for s in order if _stays(state, s, number[names[s]], bare)]
    others = np.setdiff1d(np.arange(problem.sites), placed)
    if not force_in(state, others, bare):
        return None
    if state.violation() > 0 and not len(others):
        state = _with_standbys(state, budget)
    if not repair(state, bare, _STEPS, np.random.default_rng(budget.seed), budget):
        return None
    state.close_idle()
    return state


def _with_standbys(state: State, budget: SolveBudget) -> State:
    """Return ``state`` with standbys that break nothing, if need be with hosts more that only stand by.

    Such hosts are not in the assignment in force, which names homes alone. They are opened one by one where most sites
    get a standby by it. Where that does not help, ``state`` is returned as it is.
    """
    best, lacking = _with_best_standbys(state, budget)
    for _ in range(_SPARE):
        if not lacking or budget.spent:
            break
        trials = []
        for p in np.flatnonzero(best.count() < state.ground.problem.max_hosts)[:_POOLS].tolist():
            more = best.copy()
            more.open(p)
            trials.append(_with_best_standbys(more, budget))
        fewest = min(trials, key=lambda one: one[1], default=(best, lacking))
        if fewest[1] >= lacking:
            break
        best, lacking = fewest
    return state if lacking else best


def _with_best_standbys(state: State, budget: SolveBudget) -> tuple[State, int]:
    """Return ``state`` with the standbys that most weight can have where homes stay, and the sites that lack one."""
    ground, other = state.ground, state.copy()
    assert ground.losses is not None
    sites = np.arange(len(state.home))
    seats = [
        Seat(s, int(e), int(state.pool[h]), str(h), int(ground.problem.clusters[s]))
        for s, e, h in zip(sites.tolist(), pair_of(state, sites), state.home.tolist(), strict=True)
    ]
    names = {p: [str(h) for h in np.flatnonzero(state.pool == p)] for p in np.unique(state.pool).tolist()}
    standbys = find_standbys(ground.problem, ground.losses, Seating(seats, names), budget).host
    for s, home, name in zip(sites.tolist(), state.home.tolist(), standbys, strict=True):
        other.take_out(s)
        other.put(s, home, NOWHERE if name is None else int(name))
    return other, int(((other.standby == NOWHERE) & ground.coverable).sum())


def _stays(state: State, s: int, host: int, bare: Bools) -> bool:
    """Put site ``s`` on ``host`` with the standby that breaks least; False where it may have none."""
    found = choices(state, np.array([s]), np.ones(state.hosts), bare)
    at_home = np.repeat(found.hosts[0] == host, found.hosts.shape[1] + 1)
    cost = np.where(at_home, found.flat()[0] * _BROKEN + asks(state, found), np.inf)
    best = int(cost.argmin()) if cost.size else 0
    if not cost.size or not np.isfinite(cost[best]):
        return False
    state.put(s, *found.at(0, best))
    return True
