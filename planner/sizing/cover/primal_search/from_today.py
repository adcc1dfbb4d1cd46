"""The assignment in force as a plan to begin with: who has a host keeps it, and standbys are found for all."""

from __future__ import annotations

import numpy as np

from planner.arrays import indices, int_array, minus_ones, positions
from planner.fleet import Bools, Ints
from planner.sizing.cover.primal_search.construct import settle_on
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.polish import pair_of
from planner.sizing.cover.primal_search.repair import force_in, repair
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.cover.standbys import find_standbys
from planner.sizing.instance.case import Case
from planner.sizing.solution.seating import Seat, Seating
from planner.sizing.solvers.budget import SolveBudget

_STEPS = 2_000  # of repair


def state_of_today(case: Case, ground: Ground, bare: Bools, budget: SolveBudget) -> State | None:
    """Return a state in which sites are on their hosts of today, and the others where least is broken.

    ``bare`` (S,) marks sites that may do without a standby. None where nobody has a host, or where something stays
    broken.
    """
    problem, names = case.problem, case.in_force.host
    if problem.may_own.any() or not case.incumbent.any():
        return None
    pool_of: dict[str, int] = {}
    for p, mine in enumerate(case.today.names):
        pool_of |= dict.fromkeys(mine, p)
    today = np.column_stack((problem.site, problem.pool))[case.incumbent]
    staying = [s for s, p in today.tolist() if pool_of.get(names[s]) == p]
    running = sorted({names[s] for s in staying})
    pool = int_array([pool_of[name] for name in running])
    if not running or (np.bincount(pool, minlength=problem.pools) > problem.max_hosts).any():
        return None
    host = minus_ones(problem.sites)
    of_today = [names[s] for s in staying]
    host[staying] = positions(of_today, running)
    state = placed_on(ground, pool, host, bare)
    if state is None:
        return None
    if state.violation() > 0 and (state.home == host).all():
        state = with_exact_standbys(state, bare, budget)
    if not repair(state, bare, _STEPS, np.random.default_rng(budget.seed), budget):
        return None
    state.close_idle()
    return state


def placed_on(ground: Ground, pool: Ints, host: Ints, bare: Bools) -> State | None:
    """Return the state on hosts of ``pool`` (M,) in which sites live on ``host`` (S,), or where least is broken for -1.

    None where one of them has no host to use.
    """
    state = State(ground)
    for p in pool.tolist():
        state.open(p)
    for s in np.argsort(-ground.problem.clusters, kind="stable").tolist():
        if host[s] >= 0:
            settle_on(state, s, int(host[s]), bare, np.inf)
    others = np.flatnonzero(state.home == NOWHERE)
    return state if force_in(state, others, bare) else None


def with_exact_standbys(state: State, bare: Bools, budget: SolveBudget) -> State:
    """Return ``state`` with the standbys that most weight can have where homes stay; for the others, least is broken.

    It is as it was where more would be broken.
    """
    ground, other = state.ground, state.copy()
    sites, pools = indices(state.home), state.pool[state.home]
    pairs = pair_of(state, sites)
    columns = np.column_stack((sites, pairs, pools, state.home, ground.problem.clusters))
    seats = [Seat(s, pair, p, str(home), clusters) for s, pair, p, home, clusters in columns.tolist()]
    names: dict[int, list[str]] = {}
    for h, p in enumerate(state.pool.tolist()):
        names.setdefault(p, []).append(str(h))
    standbys = find_standbys(ground.problem, ground.losses, Seating(seats, names), budget)
    for seat, name in zip(seats, standbys, strict=True):
        other.take_out(seat.site)
        other.put(seat.site, int(seat.host), NOWHERE if name is None else int(name))
    for s in np.flatnonzero((other.standby == NOWHERE) & ~bare).tolist():
        home = int(other.home[s])
        other.take_out(s)
        settle_on(other, s, home, bare, np.inf)
    return other if other.violation() < state.violation() else state
