"""Where kept-together sites would go if they could be divided: what a whole placement by costs begins from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planner.fleet import Floats, Ints
from planner.sizing.instance.classes import Classes, arc_of_pair
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.placement import PairCost
from planner.sizing.solvers.transportation import Cost, Transport, least_cost_flow

_PARTS = 60  # a step is divided so, because it is shared out over the clusters of a site: 1 to 6 of them divide it


def preferred_arcs(problem: Problem, classes: Classes, hosts: Ints, costs: Sequence[PairCost]) -> Ints | None:
    """Return how many sites of each class would rather use each arc, shape (A,); None when ``hosts`` (P,) are too few.

    A site that the flow of least ``costs`` divides counts where most of it goes. Needs limits that are those of a flow.
    """
    supply = problem.items
    limits = [(limit.pools, int(limit.most)) for limit in problem.limits]
    transport = Transport(
        tail=problem.site,
        head=problem.pool,
        supply=supply,
        room=problem.caps * hosts,
        limits=tuple(limits),
    )
    open_pairs = transport.room[transport.head] > 0  # most pools of a large fleet are empty
    each = supply[problem.site[open_pairs]]
    of_parts = [Cost(cost.values[open_pairs] / each, cost.step / _PARTS) for cost in costs]
    flow = least_cost_flow(transport.take(open_pairs), of_parts)
    if flow is None:
        return None
    shares = np.zeros(len(problem.pool))
    shares[open_pairs] = flow
    return most_used(problem, classes, shares)


def most_used(problem: Problem, classes: Classes, shares: Floats) -> Ints:
    """Return how many sites of each class have the largest of their ``shares`` (E,) on each arc, shape (A,)."""
    order = np.lexsort((-shares, problem.site))
    _, first = np.unique(problem.site[order], return_index=True)
    arc = arc_of_pair(problem, classes)[order[first]]
    return np.bincount(arc, minlength=len(classes.pool)).astype(np.int64)
