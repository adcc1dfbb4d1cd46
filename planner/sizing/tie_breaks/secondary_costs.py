"""The later aims as costs on the arcs of the class flow model."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planner.arrays import int_zeros, minus_ones, totals
from planner.fleet import Bools, Floats, Ints
from planner.sizing.instance.case import TieBreak
from planner.sizing.instance.classes import Classes, arc_of_pair
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.aims import costs_of
from planner.sizing.solvers.transportation import Cost, combined


def arc_means(problem: Problem, classes: Classes, values: Floats) -> Floats:
    """Return the mean over each class's sites of a value of pairs (E,), on each arc (A,)."""
    arc = arc_of_pair(problem, classes)
    total = totals(arc, values, len(classes.pool))
    pairs = np.bincount(arc, minlength=len(classes.pool))
    return np.asarray(total / np.maximum(1, pairs))


def secondary_costs(problem: Problem, classes: Classes, incumbent: Bools, tie_breaks: Sequence[TieBreak]) -> list[Cost]:
    """Return the costs of the later aims on arcs, in order: moves and latency, which are sums over sites."""
    costs = costs_of(problem, incumbent, tie_breaks)
    return [Cost(arc_means(problem, classes, cost.values), cost.step) for cost in costs]


def secondary_cost(
    problem: Problem, classes: Classes, incumbent: Bools, tie_breaks: Sequence[TieBreak], nodes: int
) -> Ints:
    """Return the later aims as one whole cost of each arc, in which earlier ones outweigh later ones, shape (A,).

    ``nodes``: of the flow that they are for.
    """
    costs = secondary_costs(problem, classes, incumbent, tie_breaks)
    total = int((classes.demand * classes.items).sum())
    if costs:
        return combined(costs, total, nodes)
    return int_zeros(len(classes.pool))


def pool_of_today(problem: Problem, incumbent: Bools) -> Ints:
    """Return for each site the pool that it stays on if it does not move, -1 for none or several, shape (S,)."""
    today = minus_ones(problem.sites)
    once = np.bincount(problem.site[incumbent], minlength=problem.sites) == 1
    mine = incumbent & once[problem.site]
    today[problem.site[mine]] = problem.pool[mine]
    return today
