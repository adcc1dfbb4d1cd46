"""The plan that serves the greatest weight, whatever cover it leaves: no plan with cover serves more.

Where there is no room for everybody, serving comes before covering, and the engines without cover say fast and exactly
how much can be served. From there sites get standbys: first where there is room, then where others make way for them.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import numpy as np

from planner.fleet import Bools
from planner.sizing.cover.best_draft import Best
from planner.sizing.cover.primal_search.construct import settle
from planner.sizing.cover.primal_search.drafts import draft_of, state_of
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.repair import with_ways_made
from planner.sizing.cover.primal_search.state import NOWHERE, Found, State
from planner.sizing.host_counts.fewest_hosts import size
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.instance.case import Case
from planner.sizing.packing.seat_sites import seat_all
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.served_aims import Worth
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.lexicographic import placed

_SECONDS = 20.0


def serving_most(case: Case, found: Found, best: Best, budget: SolveBudget) -> Found:
    """Where ``found`` leaves somebody out, offer ``best`` the plan that serves most; return the better one of both."""
    problem, state = case.problem, found.state
    left_out = (state.home == NOWHERE) & ~problem.may_own
    if not left_out.any():
        return found
    state, least = _plan(case, state.ground, budget)
    draft = draft_of(case, state)
    bare = problem.weight_of(draft.bare)
    known = dataclasses.replace(draft.sized, least=least, uncovered=bare)
    draft = dataclasses.replace(draft, sized=known)
    best.offer(draft)
    return Found(state, _without_standby(state)) if best.leads(draft) else found


def _plan(case: Case, ground: Ground, budget: SolveBudget) -> tuple[State, Mapping[Worth, float]]:
    """Return the plan, and bounds on the weight that any plan leaves out."""
    limited = case.of(case.problem.with_home_limits)
    reference = reference_counts(limited.problem, case.incumbent)
    sized = size(limited.problem, budget.within(_SECONDS), reference)
    placement = placed(limited.problem, sized, case.incumbent, case.tie_breaks)
    seating = seat_all(limited, sized.counts.hosts, placement, budget)
    without = (None,) * len(seating.seats)
    state = state_of(ground, Draft(sized, placement, seating, without))
    for p in np.repeat(np.arange(len(ground.room)), ground.problem.max_hosts).tolist():
        if ground.problem.may_grow(state.count())[p]:
            state.open(p)
    state = _with_more_standbys(state, budget)
    state.close_idle()
    least = dict(sized.least)
    if sized.weight_proven:
        least["served"] = float(limited.problem.weight_of(np.flatnonzero(placement.unserved)))
    return state, least


def _without_standby(state: State) -> Bools:
    """Return the sites that do without a standby in ``state``, or that have to, shape (S,)."""
    alone = (state.home != NOWHERE) & (state.standby == NOWHERE)
    lacking: Bools = ~state.ground.coverable | alone
    return lacking


def _with_more_standbys(state: State, budget: SolveBudget) -> State:
    """Return ``state`` with standbys for as much weight as is found; nobody loses a host or a standby."""
    problem = state.ground.problem
    never = ~state.ground.coverable
    alone = np.flatnonzero(_without_standby(state) & ~never & (state.home != NOWHERE))
    most_worth = np.lexsort((problem.clusters[alone], -problem.weights[alone]))
    for s in alone[most_worth].tolist():
        home = int(state.home[s])
        state.take_out(s)
        if not settle(state, s, never):
            state.put(s, home, NOWHERE)
    return with_ways_made(state, alone[most_worth], _without_standby, budget)
