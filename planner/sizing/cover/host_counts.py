"""How many hosts of each pool when a loss must be survived.

Two engines. Where host counts alone decide, a cut search with a condition for each loss gives a first bound, and the
search for spare room counts that have homes. Sites of several clusters are then put into them one by one. Where
something else decides too, or that leaves a gap in a small fleet, the flow model chooses counts and homes together.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Iterator, Sequence

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.sizing.assignment.greedy import greedy_counts
from planner.sizing.cover.certificate import Evidence, find_evidence, sets_of
from planner.sizing.cover.flow_model import CoverModel
from planner.sizing.cover.homes import HomePreferences, find_homes, liked_room
from planner.sizing.cover.loss_conditions import loss_conditions
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.pair_flow import PairNetwork
from planner.sizing.cover.reserve_search import SpareSearch
from planner.sizing.host_counts.cutting_planes import CutSearch, search_counts
from planner.sizing.host_counts.fewest_hosts import counts_decide, finish, least_of, minimise, serve_most
from planner.sizing.host_counts.hall_conditions import hall_conditions
from planner.sizing.host_counts.room_for_all import all_fit
from planner.sizing.instance.classes import Classes, group
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Counts, Sized, objective_value
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.secondary_costs import pool_of_today, secondary_cost, secondary_costs

_MOST_ARCS = 30_000  # up to here the flow model is asked where something else than host counts decides
_FEW_ARCS = 3_000  # up to here it closes what search and homes leave open
_MODEL_SECONDS = 120.0  # for that, at most
_NICE_SECONDS = 10.0  # for its choice of homes among equals, at most
_SINGLE_SITES = 20_000  # up to here homes are chosen for every site by itself
_LIKED_SITES = 2_000  # up to here room is also chosen by what homes would like


def sizings(
    problem: Problem,
    losses: Losses,
    incumbent: Bools,
    tie_breaks: Sequence[str],
    budget: SolveBudget,
    reference: Floats,
) -> Iterator[Sized]:
    """Yield counts and homes of every class such that every loss in ``losses`` finds room elsewhere.

    The first are the best that were found; further ones, with more hosts, are for those who find that sites
    of several clusters do not fit after all. Aims: most weight served, most weight of sites with cover, the policy's
    objective, then moves and latency as ``tie_breaks`` orders them. ``incumbent`` (E,) marks the pairs that keep a
    site where it is today; ``reference`` (P,) is what counts are kept close to among equals.
    """
    apart, any_found = pool_of_today(problem, incumbent), False
    if problem.sites and all_fit(problem):
        classes = group(problem, by_weight=False, apart=apart)
        if counts_decide(problem):
            for sized in _by_search(problem, classes, losses, incumbent, tie_breaks, budget, reference):
                yield sized
                any_found = True
        elif len(classes.pool) <= _MOST_ARCS:
            model = CoverModel(problem, classes, losses, serve_all=True, cover_all=True)
            best = _by_model(model, incumbent, tie_breaks, budget.within(_MODEL_SECONDS))
            if best is not None:
                yield best
                any_found = True
    if not any_found:
        classes = group(problem, by_weight=True, apart=apart)
        yield _by_worth(problem, classes, losses, incumbent, tie_breaks, budget.within(_MODEL_SECONDS))


def _by_search(
    problem: Problem,
    classes: Classes,
    losses: Losses,
    incumbent: Bools,
    tie_breaks: Sequence[str],
    budget: SolveBudget,
    reference: Floats,
) -> Iterator[Sized]:
    """Serve and cover everybody by the search for spare room; a small fleet's model closes what it leaves open."""
    more = loss_conditions(problem, classes, losses, len(hall_conditions(problem, classes)))
    search = search_counts(problem, classes, budget, reference, more)
    few = len(classes.pool) <= _FEW_ARCS
    bound, open_yet = search.objective_bound, few and np.isfinite(search.bound)
    for sized in _found(problem, classes, losses, search, incumbent, tie_breaks, budget):
        bound = max(bound, sized.bound)
        if open_yet and sized.value > bound and not budget.spent:
            yield _closed(problem, classes, losses, incumbent, tie_breaks, budget, bound) or sized
        else:
            yield sized
        open_yet = False
    if open_yet and not budget.spent:
        closed = _closed(problem, classes, losses, incumbent, tie_breaks, budget, bound)
        if closed is not None:
            yield closed


def _found(
    problem: Problem,
    classes: Classes,
    losses: Losses,
    search: CutSearch,
    incumbent: Bools,
    tie_breaks: Sequence[str],
    budget: SolveBudget,
) -> Iterator[Sized]:
    """Yield homes for the points that the search for spare room finds."""
    if search.best is None:
        return
    spares = SpareSearch(problem, losses, PairNetwork(classes, losses, problem.max_hosts, budget.seed), search, budget)
    each, network, preferences = classes, spares.network, _preferences(problem, spares.network, incumbent, tie_breaks)
    for point in spares.points():
        bound = spares.objective_bound
        if each is classes and problem.sites <= _SINGLE_SITES and not budget.spent:
            # The count cannot tell sites of a class apart, but their round-trip times differ.
            each = group(problem, by_weight=False, apart=np.arange(problem.sites))
            network = PairNetwork(each, losses, problem.max_hosts, budget.seed)
            preferences = _preferences(problem, network, incumbent, tie_breaks)
        few = problem.sites <= _LIKED_SITES and not budget.spent
        at = [point, *([liked_room(spares, network, point, preferences)] if few else [])]
        trials = [trial for one in at if (trial := find_homes(spares, network, one, preferences)) is not None]
        if not trials:
            continue
        homes = min(trials, key=lambda trial: float(preferences.cost @ trial))
        hosts = np.rint(point.hosts).astype(np.int64)
        kinds, counts = each, _all_served(each, hosts, homes)
        if len(classes.pool) <= _FEW_ARCS and not preferences.even:
            exact = CoverModel(problem, classes, losses, serve_all=True, cover_all=True, hosts=hosts)
            summed = _all_served(classes, hosts, _summed(problem, classes, each, homes))
            other = _nicest(exact, summed, incumbent, tie_breaks, budget.within(_NICE_SECONDS))
            means = secondary_cost(problem, classes, incumbent, tie_breaks, network.nodes)
            if float(means @ other.flow) <= float(preferences.cost @ homes):
                kinds, counts = classes, other
        value = objective_value(problem, kinds, counts)
        word = "cuts and plan meet" if value <= bound else "not all counts below were tried"
        sized = Sized(kinds, counts, value, min(bound, value), True, word)
        if losses.kind != "host":
            sized = dataclasses.replace(sized, evidence=functools.partial(_evidence, spares, search))
        yield sized


def _all_served(classes: Classes, hosts: Ints, homes: Floats) -> Counts:
    none = np.zeros(classes.count, dtype=np.int64)
    return Counts(hosts, homes, none, none)


def _summed(problem: Problem, classes: Classes, each: Classes, homes: Floats) -> Floats:
    """Return ``homes`` of single sites (arcs of ``each``) on the arcs of their classes, shape (A,)."""
    first = np.zeros(each.count, dtype=np.int64)
    first[each.of_site] = np.arange(problem.sites)  # any site of a class: all of them are of one larger class
    offset = np.arange(len(each.pool)) - each.indptr[each.of_arc]
    arc = classes.indptr[classes.of_site[first[each.of_arc]]] + offset
    return np.bincount(arc, weights=homes, minlength=len(classes.pool)).astype(np.float64)


def _preferences(
    problem: Problem, network: PairNetwork, incumbent: Bools, tie_breaks: Sequence[str]
) -> HomePreferences:
    """Return the later aims as costs of a flow, with those apart that come before spread."""
    before = tie_breaks[: tie_breaks.index("spread")] if "spread" in tie_breaks else tie_breaks
    return HomePreferences(
        secondary_cost(problem, network.classes, incumbent, tie_breaks, network.nodes),
        secondary_cost(problem, network.classes, incumbent, before, network.nodes),
        "spread" in tie_breaks,
    )


def _evidence(spares: SpareSearch, search: CutSearch, target: float, budget: SolveBudget) -> Evidence | None:
    """Return sets that force ``target``: of the cuts that the search for spare room knew, else of all."""
    problem, losses, network = spares.problem, spares.losses, spares.network
    plain = len(hall_conditions(problem, network.classes))
    for cuts in (spares.known_cuts(), search.cuts):
        sets = [*spares.model.cuts, *sets_of(network, losses, cuts, plain)]
        found = find_evidence(problem, network.classes, losses, sets, target, budget)
        if found is not None:
            return found
    return None


def _closed(
    problem: Problem,
    classes: Classes,
    losses: Losses,
    incumbent: Bools,
    tie_breaks: Sequence[str],
    budget: SolveBudget,
    bound: float,
) -> Sized | None:
    """Return the answer of the flow model, told of a bound that is known."""
    model = CoverModel(problem, classes, losses, serve_all=True, cover_all=True)
    model.at_least(problem.objective, bound)
    return _by_model(model, incumbent, tie_breaks, budget.within(_MODEL_SECONDS), bound)


def _by_model(
    model: CoverModel, incumbent: Bools, tie_breaks: Sequence[str], budget: SolveBudget, known_bound: float = 0.0
) -> Sized | None:
    """Serve and cover everybody by the flow model."""
    outcome, counts = minimise(model, model.problem.objective, budget)
    if counts is None:
        return None
    sized = finish(model, counts, outcome, budget, weight_proven=True, known_bound=known_bound)
    return dataclasses.replace(sized, counts=_nicest(model, sized.counts, incumbent, tie_breaks, budget))


def _by_worth(
    problem: Problem, classes: Classes, losses: Losses, incumbent: Bools, tie_breaks: Sequence[str], budget: SolveBudget
) -> Sized:
    """Serve the greatest weight, then cover the greatest weight, then the objective."""
    if budget.spent:
        return _in_haste(problem, classes, "no time left")
    model = CoverModel(problem, classes, losses, serve_all=False, cover_all=False)
    served = serve_most(model, budget)
    counts = served.counts
    if counts is None:
        return _in_haste(problem, classes, served.word)
    covered, better = minimise(model, "uncovered_weight", budget)
    if better is not None:
        counts = better
        model.fix_objective("uncovered_weight", model.uncovered_weight(counts))
    outcome, better = minimise(model, problem.objective, budget)
    if covered.state != "optimal":
        outcome = dataclasses.replace(outcome, state="feasible" if better is not None else "unsolved")
    sized = finish(model, better or counts, outcome, budget, weight_proven=served.proven)
    uncovered = int(sum(model.uncovered[a] * classes.weight[classes.of_arc[a]] for a in model.w))
    return dataclasses.replace(
        sized,
        counts=_nicest(model, sized.counts, incumbent, tie_breaks, budget),
        uncovered=uncovered,
        least={**served.least, "covered": least_of(covered)},
    )


def _in_haste(problem: Problem, classes: Classes, word: str) -> Sized:
    counts = greedy_counts(problem, classes)
    return Sized(classes, counts, objective_value(problem, classes, counts), 0.0, False, word)


def _nicest(
    model: CoverModel, counts: Counts, incumbent: Bools, tie_breaks: Sequence[str], budget: SolveBudget
) -> Counts:
    """Return the counts that are best for the later aims, in the order of ``tie_breaks``, of all that are as good."""
    for aim in tie_breaks:
        costs = secondary_costs(model.problem, model.classes, incumbent, (aim,))
        better: Counts | None = counts
        if costs:
            better = model.choose_arcs(costs[0].values, budget)
        elif aim == "spread":
            better = model.choose_spread(counts.hosts, budget)
        if better is None:
            break
        counts = better
    return counts
