"""From homes and standbys on numbered hosts to a draft with named hosts."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from planner.arrays import indices, int_array, int_zeros
from planner.fleet import Bools, Ints
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.polish import HomeCost, pair_of, settled_by_cost, weighed
from planner.sizing.cover.primal_search.state import NOWHERE, State
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
    state = state.copy()
    state.close_idle()
    name = names_of(case, state)
    if "moves" in case.tie_breaks and case.incumbent.any():
        state = back_on(state, _hosts_of_today(case, name))
    problem, today = case.problem, case.today
    sites = np.flatnonzero(state.home != NOWHERE)
    uses = np.union1d(state.home, state.standby)
    used = np.setdiff1d(uses, NOWHERE)
    pairs = pair_of(state, sites) if len(sites) else int_zeros(0)
    homes, units = state.home[sites], problem.clusters[sites]
    columns = np.column_stack((sites, pairs, state.pool[homes], homes, units))
    seats = [Seat(s, pair, p, name[home], clusters) for s, pair, p, home, clusters in columns.tolist()]
    names: dict[int, list[str]] = {}
    for h in used.tolist():
        of_pool = names.setdefault(int(state.pool[h]), [])
        of_pool.append(name[h])
    for p, mine in names.items():
        mine.sort(key=today.names[p].index)
    nowhere = state.home == NOWHERE
    own = nowhere & problem.may_own
    placement = Placement(pairs, units, nowhere & ~own, own, ())
    standbys = tuple(map(name.get, state.standby[sites].tolist()))
    hosts = np.bincount(state.pool[used], minlength=problem.pools)
    classes = group(problem, by_weight=True)
    counts = Counts.of_hosts(classes, hosts)
    value = objective_of(problem, hosts, placement)
    sized = Sized(classes, counts, value, 0.0, False, "not all plans were tried")
    return Draft(sized, placement, Seating(seats, names), standbys)


def state_of(ground: Ground, draft: Draft, sites: Ints | None = None) -> State:
    """Return the state of ``draft``, which names its hosts in any way.

    ``sites`` (n,): where the sites of the draft stand in the ground, where it is of some of them.
    """
    at = np.arange(ground.problem.sites) if sites is None else sites
    state, seats = State(ground), draft.seating.seats
    number: dict[str | None, int] = {None: NOWHERE}
    for p, names in sorted(draft.seating.names.items()):
        number |= {name: state.open(p) for name in names}
    for seat, standby in zip(seats, draft.standbys, strict=True):
        site = int(at[seat.site])
        state.put(site, number[seat.host], number[standby])
    state.close_idle()
    return state


def nearer_today(case: Case, state: State, bare: Bools, budget: SolveBudget) -> State:
    """Return ``state`` with more sites on their hosts of today, by chains of moves; ``bare`` (S,) as in `Found`.

    Where moves are no aim, or nobody has a host today, it is as it was.
    """
    if case.tie_breaks[:1] != ("moves",) or not case.incumbent.any():
        return state
    state = state.copy()
    state.close_idle()
    costs = costs_of(case.problem, case.incumbent, case.tie_breaks[1:])
    after = [cost.values for cost in costs]
    nothing = np.zeros(len(case.problem.pool))
    cost = weighed(after) if after else nothing
    away = (1.0 + float(cost.max(initial=0.0))) * 1e3
    wanted = _hosts_of_today(case, names_of(case, state))
    return settled_by_cost(state, bare, HomeCost(cost, wanted, away), budget)


def _hosts_of_today(case: Case, name: Mapping[int, str]) -> Ints:
    """Return the host of that ``name`` on which each site is today, shape (S,), -1 for none."""
    number = {of_host: host for host, of_host in name.items()}
    return int_array([number.get(host, NOWHERE) for host in case.in_force.host])


def names_of(case: Case, state: State) -> dict[int, str]:
    """Return the name of each host: that under which most of its sites stay, else the first that is left."""
    fleet = case.fleet
    problem = case.problem
    today = case.today
    found: dict[int, str] = {}
    for p in np.unique(state.pool).tolist():
        mine = np.flatnonzero(state.pool == p)
        names = today.names[p]
        at = {name: i for i, name in enumerate(names)}
        gain = np.zeros((len(mine), len(names)))
        for i, h in enumerate(mine.tolist()):
            for s in np.flatnonzero(state.home == h).tolist():
                site = fleet.site_ids[problem.site_at[s]]
                named = today.host.get(site, "")
                if named in at:
                    gain[i, at[named]] += 1.0
        each_later = 0.5 / max(1, len(names))
        gain -= indices(names) * each_later
        for i, j in best_matching(gain):
            found[int(mine[i])] = names[j]
    return found
