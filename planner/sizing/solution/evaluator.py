"""The one judge of drafts: the aims in the policy's order, added up again from homes, standbys and hosts alone."""

from __future__ import annotations

from collections.abc import Callable

from planner.arrays import int_zeros
from planner.fleet import Ints
from planner.sizing.instance.case import Case
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.aims import aim_of
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.prices import prices_of

Evaluator = Callable[[Draft], tuple[float, ...]]

_DIGITS = 6  # after the point; sums in another order differ later


def evaluator_of(case: Case, *, cover: bool) -> Evaluator:
    """Return the function that tells what a draft makes of each aim, in order; of two drafts the smaller is better.

    The aims: weight left out of sites that are to be kept, then of all; with ``cover`` weight on shared hosts without a
    standby; the objective; of plans with as many new hosts those with fewest hosts; the fewest own tie-breakers, of as
    many the cheapest; then the later aims.
    """

    problem = case.problem

    def evaluate(draft: Draft) -> tuple[float, ...]:
        placement = draft.placement
        seating = draft.in_use
        uncovered = problem.weight_of(draft.bare) if cover else 0
        hosts = running(problem, draft)
        kept = problem.weight_of(placement.unserved & problem.kept)
        weight = problem.weight_of(placement.unserved)
        aims = [kept, weight, float(uncovered), *_objective(case, hosts, draft)]
        for aim in map(aim_of, case.tie_breaks):
            value = aim.told(case, placement, seating) if aim.defined(placement) else 0.0
            aims.append(-value if aim.larger else value)
        return tuple(round(aim, _DIGITS) for aim in aims)

    return evaluate


def running(problem: Problem, draft: Draft) -> Ints:
    """Return how many hosts of each pool carry a site or stand by for one, shape (P,)."""
    used = draft.used
    hosts = int_zeros(problem.pools)
    for p, names in draft.seating.names.items():
        hosts[p] = len(used.intersection(names))
    return hosts


def compared_objective(case: Case, hosts: Ints, placement: Placement) -> float:
    """Return the objective by which plans are compared: those of at most the case's ``most_hosts`` are equal."""
    value = objective_of(case.problem, hosts, placement)
    return max(value, float(case.most_hosts)) if case.problem.objective == "hosts" else value


def objective_of(problem: Problem, hosts: Ints, placement: Placement) -> float:
    """Return the policy's objective of ``hosts`` (P,) and of who goes where."""
    value = prices_of(problem).total(hosts)
    if problem.objective != "cost":
        return value
    pairs = problem.pair_cost[placement.pair].sum()
    own = problem.own_cost[placement.own].sum()
    return value + float(pairs) + float(own)


def _objective(case: Case, hosts: Ints, draft: Draft) -> list[float]:
    problem = case.problem
    own = draft.placement.own
    fewest = [float(hosts.sum())] if problem.objective == "new_hosts" else []
    value = compared_objective(case, hosts, draft.placement)
    own_cost = float(problem.own_cost[own].sum())
    return [value, *fewest, float(own.sum()), own_cost]
