"""Cover: a plan that survives the loss of any one host, hub or zone, with a standby for every site that can have it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping

import numpy as np

from planner.sizing.cover.answer_by_host import draft_of_hosts
from planner.sizing.cover.best_draft import Best
from planner.sizing.cover.better_homes import BetterHomes
from planner.sizing.cover.class_counts import Known, candidate_sizings
from planner.sizing.cover.exact_aims import ExactAims, settled_by_hosts
from planner.sizing.cover.fewest_moves import moves_without_cover
from planner.sizing.cover.host_by_host import solve_host_by_host
from planner.sizing.cover.host_loss_bound import HostLossBound
from planner.sizing.cover.losses import Losses, read_losses
from planner.sizing.cover.parts import plan_in_parts
from planner.sizing.cover.primal_search.drafts import draft_of, state_of
from planner.sizing.cover.primal_search.from_today import state_of_today
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.polish import HomeCost, settled_by_cost, weighed, with_more_inside
from planner.sizing.cover.primal_search.search import Found, PrimalSearch
from planner.sizing.cover.primal_search.state import NOWHERE
from planner.sizing.cover.serving_most import serving_most
from planner.sizing.cover.standbys import find_standbys
from planner.sizing.host_counts.certificate import Forcing
from planner.sizing.host_counts.fewest_hosts import counts_decide
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.instance.problem import restrict
from planner.sizing.packing.seat_sites import seat_all
from planner.sizing.solution.aims import costs_of
from planner.sizing.solution.counts import Sized
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import evaluator_of
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.lexicographic import placed

_MOST_ADDED = 3  # hosts that are tried on top, where standbys lack room that the counts seemed to have
_SEARCH_SECONDS = 120.0  # for the search host by host, at most
_HOSTS_SECONDS = 60.0  # for the model host by host
_FOR_HOSTS = 0.8  # of the time there is
_SMALL = 100  # sites up to which exact engines have all the time there is
_EXACT_SECONDS = 20.0  # for larger fleets in which more than sums over pools decides
_FOR_EXACT = 0.6  # of the time for hosts, so that the search from the first plan has its turn too


def plan_covered(case: Case, budget: SolveBudget) -> tuple[Draft, Mapping[TieBreak, float]]:
    """Return the best plan that survives the losses of the policy's ``cover``, with bounds on the later aims.

    What is better is said by `solution.evaluator`. A constructed plan is there from the start. Exact engines give
    others, with bounds; where they leave a gap, or are too slow, the search host by host goes on from the best. When
    the hosts are settled, homes are looked for that the later aims want. Where sites may be split, parts are planned.
    """
    losses = read_losses(case.fleet, case.problem)
    if case.problem.split:
        return settled_by_hosts(case, losses, plan_in_parts(case, losses, budget, plan_covered), budget)
    ground = Ground(case.problem, losses)
    for_hosts = budget.part(_FOR_HOSTS)
    best = _search(case, ground, losses, for_hosts)

    def offer(draft: Draft) -> Draft:
        best.offer(draft)
        return best.draft

    bounds = BetterHomes(case, ground, best.draft, budget).improve(offer)
    exact = ExactAims(case, losses, best.draft, budget).settle(offer)
    known = {**bounds, **exact}
    if "moves" in known and "moves" not in exact:
        least = moves_without_cover(case, best.draft, budget)
        known["moves"] = max(known["moves"], least)
    if "moves" in known:  # in the count of placements, sites without a host today move
        known["moves"] += case.in_force.first_served(best.draft.placement.pair)
    return best.draft, known


def _search(case: Case, ground: Ground, losses: Losses, budget: SolveBudget) -> Best:
    """Return the best of the plans of all engines, until it is closed or time ends."""
    best = Best(case.problem, losses, evaluator_of(case, cover=True))
    limited = budget if budget.seconds else budget.within(_SEARCH_SECONDS)
    search = PrimalSearch(ground, limited)
    found = search.first()
    by_levels = ground.by_host and search.all_covered(found)
    small = case.problem.sites <= _SMALL
    first = draft_of(case, found.state) if by_levels else _finished(case, found, budget, later_aims=small)
    best.offer(first)
    if not small:
        found = serving_most(case, found, best, budget)
    today = state_of_today(case, ground, found.bare, budget) if "moves" in case.tie_breaks else None
    if today is not None:
        best.offer(draft_of(case, today))
    if by_levels:
        _against_host_loss(case, HostLossBound(ground, search.prices, limited), search, found, best)
        return best
    if not small and case.problem.objective != "cost" and len(search.shared) < case.problem.sites:
        best.offer(_own_last(case, ground, losses, budget))
        if best.closed:
            return best
    covering = first if search.all_covered(found) else None
    _by_exact_engines(case, losses, budget, covering, best)
    if best.closed:
        return best
    last, draft = found, first
    for last in search.better(found):
        budget.tell("cover", last.state.hosts, best.bound)
        draft = _finished(case, last, budget, later_aims=small)
        best.offer(draft)
        if best.closed:
            break
    if best.leads(draft) and not small:
        best.offer(_finished(case, last, budget))
    return best


def _by_exact_engines(case: Case, losses: Losses, budget: SolveBudget, covering: Draft | None, best: Best) -> None:
    """Offer ``best`` the plans of exact engines; ``covering`` serves and covers all who can be, None if unknown."""
    known = Known(covering is not None and case.problem.sites > _SMALL)
    for draft in _exact(case, losses, budget, known):
        best.offer(draft)
        if best.closed and not draft.short:  # where it is short, the next one may be better among equals
            break
    if covering is not None:
        best.offer(_bounded(covering, known.bound))


def _own_last(case: Case, ground: Ground, losses: Losses, budget: SolveBudget) -> Draft:
    """Return the best plan of the sites that need a shared host, with the others where it leaves them room.

    The rest use their own tie-breakers. No plan that serves and covers as much has fewer hosts: without the sites that
    need none, it is a plan of the others.
    """
    shared = ~case.problem.may_own
    others = case.of(restrict(case.problem, shared))
    among = Ground(others.problem, losses)
    found = _search(others, among, losses, budget).draft
    state = state_of(ground, found, np.flatnonzero(shared))
    alone = state.standby == NOWHERE
    bare = ~ground.coverable | (shared & alone)
    draft = draft_of(case, with_more_inside(state, bare, budget))
    known = ("bound", "weight_proven", "word", "uncovered", "least")
    sized = dataclasses.replace(draft.sized, **{name: getattr(found.sized, name) for name in known})
    return dataclasses.replace(draft, sized=sized)


def _against_host_loss(case: Case, known: HostLossBound, search: PrimalSearch, found: Found, best: Best) -> None:
    """Offer ``best`` plans against the loss of a host that serve and cover everybody who can be, with what is known."""
    best.offer(_bounded(best.draft, known.bound, known.forcing))
    closed, problem = best.closed, case.problem
    if closed:
        best.offer(_bounded(_finished(case, found, search.budget), known.bound, known.forcing))
    # What is best among equals, fewest hosts and own tie-breakers, the model of a small fleet knows too.
    if not closed or problem.objective == "new_hosts" or problem.may_own.any():
        exact = solve_host_by_host(problem, best.losses, search.budget.within(_HOSTS_SECONDS))
        if exact is not None:
            best.offer(draft_of_hosts(case, best.losses, exact))
    if best.closed:
        return
    last = found
    for last in search.better(found, known):
        search.budget.tell("cover", last.state.hosts, known.bound)
        best.offer(_bounded(draft_of(case, last.state), known.bound, known.forcing))
        if best.closed:
            break
    best.offer(_bounded(best.draft, known.bound, known.forcing))
    best.offer(_bounded(_finished(case, last, search.budget), known.bound, known.forcing))


def _bounded(draft: Draft, bound: float, forcing: Forcing | None = None) -> Draft:
    """Return a draft that serves and covers everybody who can be, with a known ``bound``, and what forces it."""
    sized = draft.sized
    word = "lower bound and plan are equal" if sized.value <= bound else "not all smaller numbers of hosts were tried"
    most = min(sized.value, bound)
    told = dataclasses.replace(sized, bound=most, weight_proven=True, word=word, forcing=forcing)
    return dataclasses.replace(draft, sized=told)


def _finished(case: Case, found: Found, budget: SolveBudget, *, later_aims: bool = True) -> Draft:
    """Return the draft of a state, in which sites go where the aims want them as far as there is room.

    ``later_aims``: also those after the objective, which in large fleets takes longer than all else.
    """
    problem, state = case.problem, found.state
    costs = [problem.pair_cost] if problem.objective == "cost" else []
    if not costs and problem.may_own.any():
        state = with_more_inside(state, found.bare, budget)
    if later_aims:
        later = costs_of(problem, case.incumbent, case.tie_breaks)
        costs += [cost.values for cost in later]
    if not costs:
        return draft_of(case, state)
    cost = HomeCost(weighed(costs))
    return draft_of(case, settled_by_cost(state, found.bare, cost, budget))


def _exact(case: Case, losses: Losses, budget: SolveBudget, known: Known) -> Iterator[Draft]:
    """Yield plans of the engines over pools and classes, and of a small fleet's model host by host.

    Homes and standbys of single sites are looked for under the counts and homes of classes. Where sites that stay
    together, or overlapping losses, leave no room although the sums say so, there is no standby for some of them.
    """
    if case.problem.sites > _SMALL:
        budget = budget.part(_FOR_EXACT)
        if losses.kind == "host" or not counts_decide(case.problem):
            budget = budget.within(_EXACT_SECONDS)
    for at, sized in enumerate(candidate_sizings(case, losses, budget, known)):
        for trial in _carried_out(case.of(case.problem.with_home_limits), losses, sized, budget):
            yield trial
            if not trial.short:
                break
        exact = solve_host_by_host(case.problem, losses, budget.within(_HOSTS_SECONDS)) if at == 0 else None
        if exact is not None:
            yield draft_of_hosts(case, losses, exact)
            return
        if not trial.short or at == _MOST_ADDED or budget.spent or sized.counts.unserved.any() or sized.uncovered:
            return


def _carried_out(case: Case, losses: Losses, sized: Sized, budget: SolveBudget) -> Iterator[Draft]:
    """Yield ways to seat everybody: first the one of fewest moves, then one that finds room for more standbys.

    In the second, what stays free in a pool is gathered on one host, where sites of several clusters find it.
    """
    problem = case.problem
    placement = placed(problem, sized, case.incumbent, case.tie_breaks)
    for gathered in (False, True):
        seating = seat_all(case, sized.counts.hosts, placement, budget, gathered=gathered)
        standbys = find_standbys(problem, losses, seating, budget)
        short = standbys.without > sized.uncovered
        # What counts standbys says nothing of a plan in which somebody lacks one.
        told = dataclasses.replace(sized, evidence=None) if standbys.without else sized
        yield Draft(told, placement, seating, standbys.host, short=short)
