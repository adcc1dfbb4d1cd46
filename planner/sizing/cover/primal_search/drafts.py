"""From homes and standbys on numbered hosts to a draft with named hosts."""

from __future__ import annotations

import numpy as np

from planner.arrays import int_array, int_zeros
from planner.fleet import Bools, Ints
from planner.sizing.cover.primal_search.polish import HomeCost, pair_of, settled_by_cost, weighed
from planner.sizing.cover.primal_search.state import NOWHERE, Ground, State
from planner.sizing.cover.primal_search.stay import back_on
from planner.sizing.instance.case import Case
from planner.sizing.instance.classes import group
from planner.sizing.packing.matching import best_matching
from planner.sizing.solution.aims import costs_of
from planner.sizing.solution.counts import Counts, Sized
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import objective_of
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seat, Seating
from planner.sizing.solvers.budget import SolveBudget


def draft_of(case: Case, state: State) -> Draft:
    """Return the draft of ``state``; its value is added up from it, and nothing is known of other plans.

    Where moves are an aim, sites go back to the host of their pool that they have today, as far as there is room.
    """
    if "moves" in case.tie_breaks and case.incumbent.any():
        state = back_on(state, _hosts_of_today(case, state))
    problem, today = case.problem, case.today
    sites = np.flatnonzero(state.home != NOWHERE)
    used = _used(state)
    name = _names(case, state, used)
    pairs = pair_of(state, sites) if len(sites) else int_zeros(0)
    seats = [
        Seat(int(s), int(e), int(problem.pool[e]), name[int(state.home[s])], int(problem.clusters[s]))
        for s, e in zip(sites, pairs, strict=True)
    ]
    names: dict[int, list[str]] = {}
    for h in used.tolist():
        names.setdefault(int(state.pool[h]), []).append(name[h])
    for p, mine in names.items():
        mine.sort(key=today.names[p].index)
    nowhere = state.home == NOWHERE
    own = nowhere & np.isfinite(problem.own_cost)
    placement = Placement(pairs, problem.clusters[sites], nowhere & ~own, own, ())
    standbys = tuple(name[int(g)] if g != NOWHERE else None for g in state.standby[sites])
    hosts = np.bincount(state.pool[used], minlength=problem.pools)
    classes = group(problem, by_weight=True)
    none = int_zeros(classes.count)
    counts = Counts(hosts, np.zeros(len(classes.pool)), none, none)
    value = objective_of(problem, hosts, placement)
    sized = Sized(classes, counts, value, 0.0, False, "not all plans were tried")
    return Draft(sized, placement, Seating(seats, names), standbys)


def state_of(ground: Ground, draft: Draft) -> State:
    """Return the state of ``draft``, which names its hosts in any way."""
    state, seats = State(ground), draft.seating.seats
    number = {name: state.open(p) for p, names in sorted(draft.seating.names.items()) for name in names}
    for seat, standby in zip(seats, draft.standbys, strict=True):
        state.put(seat.site, number[seat.host], NOWHERE if standby is None else number[standby])
    state.close_idle()
    return state


def nearer_today(case: Case, state: State, bare: Bools, budget: SolveBudget) -> State:
    """Return ``state`` with more sites on their hosts of today, by chains of moves; ``bare`` (S,) as in `Found`.

    Where moves are no aim, or nobody has a host today, it is as it was.
    """
    if case.tie_breaks[:1] != ("moves",) or not case.incumbent.any():
        return state
    after = [cost.values for cost in costs_of(case.problem, case.incumbent, case.tie_breaks[1:])]
    cost = weighed(after) if after else np.zeros(len(case.problem.pool))
    away = (1.0 + float(cost.max(initial=0.0))) * 1e3
    return settled_by_cost(state, bare, HomeCost(cost, _hosts_of_today(case, state), away), budget)


def _used(state: State) -> Ints:
    """Return the hosts that carry a site or stand by for one."""
    used: Ints = np.setdiff1d(np.union1d(state.home, state.standby), [NOWHERE])
    return used


def _hosts_of_today(case: Case, state: State) -> Ints:
    """Return the host of ``state`` that has the name of each site's host of today, shape (S,), -1 for none."""
    number = {name: host for host, name in _names(case, state, _used(state)).items()}
    hosts = [number.get(name, NOWHERE) if name else NOWHERE for name in case.in_force.host]
    return int_array(hosts)


def _names(case: Case, state: State, used: Ints) -> dict[int, str]:
    """Return the name of each of the hosts ``used`` (n,): that under which most of its sites stay, else the first."""
    fleet = case.fleet
    problem = case.problem
    today = case.today
    found: dict[int, str] = {}
    for p in np.unique(state.pool[used]).tolist():
        mine = used[state.pool[used] == p]
        names = today.names[p]
        at = {name: i for i, name in enumerate(names)}
        gain = np.zeros((len(mine), len(names)))
        for i, h in enumerate(mine.tolist()):
            for s in np.flatnonzero(state.home == h).tolist():
                named = today.host.get(fleet.site_ids[problem.site_at[s]], "")
                if named in at:
                    gain[i, at[named]] += 1.0
        gain -= np.arange(len(names)) * (0.5 / max(1, len(names)))
        for i, j in best_matching(gain):
            found[int(mine[i])] = names[j]
    return found
