"""Cover: a plan that survives the loss of any one host, hub or zone, with a standby for every site that can have it."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from itertools import islice

import numpy as np

from planner.sizing.cover.answer_by_host import draft_of_hosts
from planner.sizing.cover.best_draft import Best
from planner.sizing.cover.better_homes import BetterHomes
from planner.sizing.cover.certificate import FindEvidence
from planner.sizing.cover.exact_aims import ExactAims, settled_by_hosts
from planner.sizing.cover.finish import finished
from planner.sizing.cover.host_by_host import solve_host_by_host
from planner.sizing.cover.host_loss_bound import HostLossBound
from planner.sizing.cover.losses import Losses, read_losses
from planner.sizing.cover.parts import plan_in_parts
from planner.sizing.cover.plans_at_points import PlansAtPoints
from planner.sizing.cover.primal_search.drafts import draft_of, state_of
from planner.sizing.cover.primal_search.from_counts import PlansFromCounts
from planner.sizing.cover.primal_search.from_today import state_of_today
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.polish import with_more_inside
from planner.sizing.cover.primal_search.search import PrimalSearch
from planner.sizing.cover.primal_search.state import NOWHERE, Found
from planner.sizing.cover.reserve_counts import ReserveCounts
from planner.sizing.cover.serving_most import serving_most
from planner.sizing.host_counts.certificate import Forcing
from planner.sizing.host_counts.fewest_hosts import counts_decide
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.instance.problem import restrict
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import evaluator_of
from planner.sizing.solvers.budget import SolveBudget

_MOST_COUNTS = 4  # that are tried, where sites that are kept together lack room that the counts seemed to have
_SLACK = 0.5  # clusters that each host then keeps free
_SEARCH_SECONDS = 120.0  # for the search host by host, at most
_HOSTS_SECONDS = 60.0  # for the model host by host
_FOR_HOSTS = 0.8  # of the time there is
_SMALL = 100  # sites up to which the search for reserve has all the time there is
_FOR_RESERVE = 0.6  # of the time for hosts, so that the search from the first plan has its turn too


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
    return best.draft, {**bounds, **exact}


def _search(case: Case, ground: Ground, losses: Losses, budget: SolveBudget) -> Best:
    """Return the best of the plans of all engines, until it is closed or time ends."""
    best = Best(case.problem, losses, evaluator_of(case, cover=True))
    limited = budget if budget.seconds else budget.within(_SEARCH_SECONDS)
    search = PrimalSearch(ground, limited)
    found = search.first()
    by_levels = ground.by_host and search.all_covered(found)
    small = case.problem.sites <= _SMALL
    first = draft_of(case, found.state) if by_levels else finished(case, found, budget, later_aims=small)
    best.offer(first)
    if not small:
        found = serving_most(case, found, best, budget)
    today = state_of_today(case, ground, found.bare, budget) if "moves" in case.tie_breaks else None
    if today is not None:
        best.offer(draft_of(case, today))
    if case.problem.objective == "cost" and not counts_decide(case.problem):
        _by_cost(case, ground, limited, best)
    if by_levels:
        known = HostLossBound(ground, search.prices, limited)
        _against_host_loss(case, known, search, found, best)
        return best
    if not small and case.problem.objective != "cost" and len(search.shared) < case.problem.sites:
        best.offer(_own_last(case, ground, losses, budget))
        if best.closed:
            return best
    _at_reserve_counts(case, ground, search, found, best)
    _by_hosts(case, losses, limited, best)
    if best.closed:
        return best
    last, draft = found, first
    for last in search.better(found):
        budget.tell("cover", last.state.hosts, best.bound)
        draft = finished(case, last, budget, later_aims=small)
        best.offer(draft)
        if best.closed:
            break
    if best.leads(draft) and not small:
        best.offer(finished(case, last, budget))
    return best


def _at_reserve_counts(case: Case, ground: Ground, search: PrimalSearch, found: Found, best: Best) -> None:
    """Offer ``best`` plans at the counts that the search for reserve finds, with its bound."""
    small = case.problem.sites <= _SMALL
    limited = search.budget if small else search.budget.part(_FOR_RESERVE)
    reserves = ReserveCounts(case, ground.losses, limited)
    points = reserves.points
    if points is None:
        return
    bare = ~ground.coverable
    plans = PlansFromCounts(found.state, bare, search.prices, search.rng, limited)
    plans.program.slack = _SLACK if plans.kept else 0.0
    at_points = PlansAtPoints(case, ground, points, plans)
    covered = search.all_covered(found)
    for point in islice(points.cheapest(), _MOST_COUNTS):
        draft = at_points.at(point)
        if draft is not None:
            covered = True
            best.offer(draft)
        if covered:
            best.offer(_bounded(best.draft, points.objective_bound, evidence=reserves.evidence))
        if draft is not None:
            break


def _by_cost(case: Case, ground: Ground, budget: SolveBudget, best: Best) -> None:
    """Offer ``best`` a plan of low cost, and a bound, where pairs and own tie-breakers cost money too."""

    def offer(draft: Draft) -> Draft:
        best.offer(draft)
        return best.draft

    bound = BetterHomes(case, ground, best.draft, budget).cheapest(offer)
    bare = ground.coverable[best.draft.bare]
    if np.isfinite(bound) and not best.draft.placement.unserved.any() and not bare.any():
        best.offer(_bounded(best.draft, bound))


def _by_hosts(case: Case, losses: Losses, budget: SolveBudget, best: Best) -> None:
    """Offer ``best`` the plan of a small fleet's model of single hosts, unless nothing is left to find.

    It also knows what is best among equals: fewest hosts and own tie-breakers.
    """
    if best.closed and case.problem.objective != "new_hosts" and not case.problem.may_own.any():
        return
    exact = solve_host_by_host(case.problem, losses, budget.within(_HOSTS_SECONDS))
    if exact is not None:
        best.offer(draft_of_hosts(case, losses, exact))


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
    told = {name: getattr(found.sized, name) for name in known}
    sized = dataclasses.replace(draft.sized, **told)
    return dataclasses.replace(draft, sized=sized)


def _against_host_loss(case: Case, known: HostLossBound, search: PrimalSearch, found: Found, best: Best) -> None:
    """Offer ``best`` plans against the loss of a host that serve and cover everybody who can be, with what is known."""

    def offer(draft: Draft) -> None:
        best.offer(_bounded(draft, known.bound, known.forcing))

    offer(best.draft)
    if best.closed:
        offer(finished(case, found, search.budget))
    _by_hosts(case, best.losses, search.budget, best)
    if best.closed:
        return
    last = found
    for last in search.better(found, known):
        search.budget.tell("cover", last.state.hosts, known.bound)
        offer(draft_of(case, last.state))
        if best.closed:
            break
    offer(best.draft)
    offer(finished(case, last, search.budget))


def _bounded(draft: Draft, bound: float, forcing: Forcing | None = None, evidence: FindEvidence | None = None) -> Draft:
    """Return a draft that serves and covers everybody who can be, with a known ``bound``, and what forces it."""
    sized = draft.sized
    word = "lower bound and plan are equal" if sized.value <= bound else "not all smaller numbers of hosts were tried"
    most = min(sized.value, bound)
    known = dataclasses.replace(sized, bound=most, weight_proven=True, word=word)
    known = dataclasses.replace(known, forcing=forcing, evidence=evidence)
    return dataclasses.replace(draft, sized=known)
