"""The aims of the class flow model, one after the other: weight, then the objective, then what decides among equals."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from planner.fleet import Ints
from planner.sizing.assignment.flow_model import FlowModel
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Aim, Counts, Sized, objective_value
from planner.sizing.solution.served_aims import Worth
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.transportation import Cost

_SECONDARY_SECONDS = 120.0  # for the later aims of the flow model, at most
_EQUAL_COST_SECONDS = 5.0  # for fewer own tie-breakers at the same cost, at most
_SAME_MONEY = 1e-12  # relative; what adding up in another order makes of the same prices


@dataclass(frozen=True)
class SecondaryCosts:
    """What the flow model knows beforehand and shall choose among equals.

    ``least``: a bound on the objective of plans that serve all. ``apart`` (S,): as in `group`; the model then places
    every class. ``costs`` returns the later aims on the arcs of classes.
    """

    least: float
    apart: Ints | None = None
    costs: Callable[[Classes], Sequence[Cost]] = lambda _: ()


@dataclass(frozen=True)
class Served:
    """The counts that leave out the least weight, None where time ended before any; ``least`` as in `Sized`."""

    counts: Counts | None
    proven: bool
    least: dict[Worth, float]
    word: str


_LEFT: tuple[tuple[Aim, Worth], ...] = (("unserved_kept", "kept_served"), ("unserved_weight", "served"))


def serve_most(model: FlowModel, budget: SolveBudget) -> Served:
    """Leave out the least weight of sites that are to be kept, then of all, and keep to that in what follows."""
    found, word, proven, least = None, "", True, {}
    for aim, worth in _LEFT[0 if model.classes.kept.any() else 1 :]:
        outcome, better = model.minimise(aim, budget)
        found = better or found
        word = outcome.word
        least[worth] = least_of(outcome)
        proven = proven and outcome.state == "optimal"
        if found is None:
            break
        model.fix_objective(aim, model.left_out(aim, found))
    return Served(found, proven, least, word)


def with_secondary_costs(model: FlowModel, sized: Sized, later: SecondaryCosts | None, budget: SolveBudget) -> Sized:
    """Return ``sized`` with the arcs that are best for the later aims among equals, as far as time allows."""
    budget = budget.within(_SECONDARY_SECONDS)
    for cost in () if later is None else later.costs(model.classes):
        better = model.choose_arcs(cost.values, budget)
        if better is None:
            break
        sized = dataclasses.replace(sized, counts=better)
    return sized


def finish(
    model: FlowModel,
    counts: Counts,
    outcome: Outcome,
    budget: SolveBudget,
    *,
    weight_proven: bool,
    known_bound: float = 0.0,
) -> Sized:
    """Settle the objective at ``counts``, as the search ended (``outcome``), and let the last aims choose among equals.

    ``known_bound`` is a bound from elsewhere; ``weight_proven`` as in `Sized`."""
    problem = model.problem
    value = objective_value(problem, model.classes, counts)
    bound = value
    if outcome.state != "optimal":
        known_bound = max(known_bound, _rounded(problem, outcome.bound))
        bound = min(value, known_bound)
    model.fix_objective(problem.objective, value)
    counts = fewest_own(model, counts, budget)
    return Sized(model.classes, counts, value, bound, weight_proven, outcome.word)


def fewest_own(model: FlowModel, counts: Counts, budget: SolveBudget) -> Counts:
    """Return counts at the value that was settled with, in this order, the fewest hosts and own tie-breakers.

    Hosts only where new ones are the objective. Of as few own tie-breakers the cheapest are used.
    """
    problem, classes = model.problem, model.classes
    last: list[Aim] = ["hosts"] if problem.objective == "new_hosts" else []
    if len(model.own_of):
        last.append("own")
        prices = classes.own_cost[model.own_of]
        alike = len(np.unique(prices)) == 1
        if not alike and problem.objective != "cost":
            last.append("own_cost")
    if problem.objective == "cost":
        budget = budget.within(_EQUAL_COST_SECONDS)
    most = objective_value(problem, classes, counts) * (1 + _SAME_MONEY)
    for aim in last:
        _, better = model.minimise(aim, budget)
        # Settled money has a little slack, which is not to be spent.
        if better is not None and objective_value(problem, classes, better) <= most:
            counts = better
        model.fix_objective(aim, objective_value(problem, classes, counts, aim))
    return counts


def least_of(outcome: Outcome) -> float:
    """Return the bound of a solve whose aim is a weight, none of which is below 0."""
    return max(0.0, outcome.bound) if np.isfinite(outcome.bound) else 0.0


def _rounded(problem: Problem, bound: float) -> float:
    """Round a bound on whole hosts up; a bound on money stays, and none is below 0."""
    if problem.objective == "cost" or not np.isfinite(bound):
        return max(0.0, bound) if np.isfinite(bound) else 0.0
    return float(max(0, np.ceil(bound - 1e-6)))
