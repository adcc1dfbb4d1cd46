"""Candidates for counts and homes of classes: how many hosts of each pool when a loss must be survived.

Two engines. Against the loss of hubs and zones, where host counts alone decide, a cut search with a condition for each
loss gives a first bound, and the search for reserve counts that have homes. Sites of several clusters are then put into
them one by one. Where something else decides too, or against the loss of a host somebody has to go without, the flow
model chooses counts and homes together.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from planner.arrays import rounded
from planner.fleet import Ints
from planner.sizing.assignment.aims_in_order import finish, least_of, serve_most
from planner.sizing.assignment.greedy import greedy_counts
from planner.sizing.cover.certificate import Evidence, find_evidence, sets_of
from planner.sizing.cover.flow_model import CoverModel
from planner.sizing.cover.homes import HomePreferences, find_homes, liked_room
from planner.sizing.cover.loss_conditions import loss_conditions
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.pair_flow import PairNetwork
from planner.sizing.cover.reserve_points import ReservePoints
from planner.sizing.cover.reserve_search import ReserveSearch
from planner.sizing.host_counts.cutting_planes import CutSearch, search_counts
from planner.sizing.host_counts.fewest_hosts import counts_decide
from planner.sizing.host_counts.hall_conditions import hall_conditions
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.host_counts.room_for_all import all_fit
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.instance.classes import Classes, group
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Counts, Sized, objective_value
from planner.sizing.solution.served_aims import Worth
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.secondary_costs import pool_of_today, secondary_cost, secondary_costs

_MOST_ARCS = 30_000  # up to here the flow model is asked where something else than host counts decides
_MODEL_SECONDS = 120.0  # for that, at most
_SINGLE_SITES = 20_000  # up to here homes are chosen for every site by itself
_LIKED_SITES = 2_000  # up to here room is also chosen by what homes would like


@dataclass
class Known:
    """What is known by now: a ``bound`` on the objective of plans that serve and cover everybody.

    ``met``: there is such a plan, so that nobody need be left out where the search finds none in time.
    """

    met: bool
    bound: float = 0.0


def candidate_sizings(case: Case, losses: Losses, budget: SolveBudget, known: Known) -> Iterator[Sized]:
    """Yield counts and homes of every class such that every loss in ``losses`` finds room elsewhere.

    The first are the best that were found; further ones, with more hosts, are for those who find that sites
    of several clusters do not fit after all. Aims: most weight served, most weight of sites with cover, the policy's
    objective, then moves and latency in the order of the case. Time may end before there are any; what is ``known`` by
    then holds.
    """
    problem = case.problem
    limited = case.of(problem.with_home_limits)
    apart, any_found = pool_of_today(problem, case.incumbent), False
    if problem.sites and all_fit(problem.of_the_day):
        classes = group(problem, by_weight=False, apart=apart)
        if counts_decide(problem) and losses.kind != "host":
            for sized in _by_search(case, classes, losses, budget, known):
                yield sized
                any_found = True
        elif len(classes.pool) <= _MOST_ARCS:
            classes = group(limited.problem, by_weight=False, apart=apart)
            model = CoverModel(limited.problem, classes, losses, serve_all=True, cover_all=True)
            best = _by_model(limited, model, budget.within(_MODEL_SECONDS))
            if best is not None:
                yield best
                any_found = True
    if not (any_found or known.met):
        classes = group(limited.problem, by_weight=True, apart=apart)
        yield _by_worth(limited, classes, losses, budget.within(_MODEL_SECONDS))


def _by_search(case: Case, classes: Classes, losses: Losses, budget: SolveBudget, known: Known) -> Iterator[Sized]:
    """Serve and cover everybody: yield homes for the points that the search for reserve finds."""
    problem = case.problem
    more = loss_conditions(problem, classes, losses, len(hall_conditions(problem, classes)))
    reference = reference_counts(problem, case.incumbent)
    search = search_counts(problem, classes.of_the_day, budget, reference, more)
    if search.best is None:
        return
    network = PairNetwork(classes, losses, problem.max_hosts, budget.seed)
    reserves = ReservePoints(problem, losses, network, search, budget)
    each = classes
    preferences = _preferences(case, network)
    for point in reserves.cheapest():
        bound = reserves.objective_bound
        if each is classes and problem.sites <= _SINGLE_SITES and not budget.spent:
            # The count cannot tell sites of a class apart, but their round-trip times differ.
            each = group(problem, by_weight=False, apart=np.arange(problem.sites))
            network = PairNetwork(each, losses, problem.max_hosts, budget.seed)
            preferences = _preferences(case, network)
        few = problem.sites <= _LIKED_SITES and not budget.spent
        at = [point, liked_room(reserves, network, point, preferences)] if few else [point]
        tried = [find_homes(reserves, network, one, preferences) for one in at]
        trials = [trial for trial in tried if trial is not None]
        if not trials:
            continue
        costs = [float(preferences.cost @ trial) for trial in trials]
        homes = trials[int(np.argmin(costs))]
        counts = Counts.all_shared(each, rounded(point.hosts), homes)
        value = objective_value(problem, each, counts)
        word = "lower bound and plan are equal" if value <= bound else "not all smaller numbers of hosts were tried"
        sized = Sized(each, counts, value, min(bound, value), True, word)
        yield dataclasses.replace(sized, evidence=functools.partial(_evidence, reserves, search))
    if np.isfinite(reserves.objective_bound):
        known.bound = reserves.objective_bound


def _preferences(case: Case, network: PairNetwork) -> HomePreferences:
    """Return the later aims as costs of a flow, with those apart that come before spread."""
    aims = case.tie_breaks
    before = aims[: aims.index("spread")] if "spread" in aims else aims

    def cost(of: tuple[TieBreak, ...]) -> Ints:
        return secondary_cost(case.problem, network.classes, case.incumbent, of, network.nodes)

    return HomePreferences(cost(aims), cost(before), "spread" in aims)


def _evidence(reserves: ReserveSearch, search: CutSearch, target: float, budget: SolveBudget) -> Evidence | None:
    """Return sets that force ``target``: of the cuts that the search for reserve knew, else of all."""
    problem = reserves.problem
    losses = reserves.losses
    network = reserves.network
    plain = len(hall_conditions(problem, network.classes))
    for cuts in (reserves.known_cuts(), search.cuts):
        of_cuts = sets_of(network, losses, cuts, plain)
        sets = [*reserves.model.cuts, *of_cuts]
        found = find_evidence(problem, network.classes, losses, sets, target, budget)
        if found is not None:
            return found
    return None


def _by_model(case: Case, model: CoverModel, budget: SolveBudget) -> Sized | None:
    """Serve and cover everybody by the flow model."""
    outcome, counts = model.minimise(model.problem.objective, budget)
    if counts is None:
        return None
    sized = finish(model, counts, outcome, budget, weight_proven=True)
    return dataclasses.replace(sized, counts=_nicest(case, model, sized.counts, budget))


def _by_worth(case: Case, classes: Classes, losses: Losses, budget: SolveBudget) -> Sized:
    """Serve the greatest weight, then cover the greatest weight, then the objective."""
    problem = case.problem
    if budget.spent:
        return _in_haste(problem, classes, "no time left")
    model = CoverModel(problem, classes, losses, serve_all=False, cover_all=False)
    served = serve_most(model, budget)
    counts = served.counts
    if counts is None:
        return _in_haste(problem, classes, served.word)
    covered, better = model.minimise("uncovered_weight", budget)
    if better is not None:
        counts = better
        model.fix_objective("uncovered_weight", model.uncovered_weight(counts))
    outcome, better = model.minimise(problem.objective, budget)
    if covered.state != "optimal":
        outcome = dataclasses.replace(outcome, state="feasible" if better is not None else "unsolved")
    sized = finish(model, better or counts, outcome, budget, weight_proven=served.proven)
    bare = model.uncovered[model.bare_on]
    uncovered = int(bare @ classes.arc_weight[model.bare_on])
    counts = _nicest(case, model, sized.counts, budget)
    least: dict[Worth, float] = {**served.least, "covered": least_of(covered)}
    return dataclasses.replace(sized, counts=counts, uncovered=uncovered, least=least)


def _in_haste(problem: Problem, classes: Classes, word: str) -> Sized:
    counts = greedy_counts(problem, classes)
    return Sized(classes, counts, objective_value(problem, classes, counts), 0.0, False, word)


def _nicest(case: Case, model: CoverModel, counts: Counts, budget: SolveBudget) -> Counts:
    """Return the counts that are best for the later aims, in their order, of all that are as good."""
    for aim in case.tie_breaks:
        costs = secondary_costs(case.problem, model.classes, case.incumbent, (aim,))
        better: Counts | None = counts
        if costs:
            better = model.choose_arcs(costs[0].values, budget)
        elif aim == "spread":
            better = model.choose_spread(counts.hosts, budget)
        if better is None:
            break
        counts = better
    return counts
