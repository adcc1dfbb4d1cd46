"""Where kept-together sites would go if they could be divided: what a whole placement by costs begins from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planner.fleet import Floats, Ints
from planner.sizing.placement import PairCost
from planner.sizing.problem import Classes, Problem
from planner.sizing.transport import Cost, Transport, least_cost_flow

_PARTS = 60  # a step is divided so, because it is shared out over the clusters of a site: 1 to 6 of them divide it


def wished_arcs(problem: Problem, classes: Classes, hosts: Ints, costs: Sequence[PairCost]) -> Ints | None:
    """Return how many sites of each class would rather use each arc, shape (A,); None when ``hosts`` (P,) are too few.

    A site that the flow of least ``costs`` divides counts where most of it goes. Needs limits that are those of a flow.
    """
    supply = problem.items
    transport = Transport(
        tail=problem.site,
        head=problem.pool,
        supply=supply,
        room=problem.caps * hosts,
        limits=tuple((limit.pools, int(limit.most)) for limit in problem.limits),
    )
    # Most pools of a large fleet are empty.
    at = np.flatnonzero(transport.room[transport.head] > 0)
    each = supply[problem.site[at]]
    flow = least_cost_flow(
        transport.take(transport.room[transport.head] > 0),
        [Cost(cost.values[at] / each, cost.step / _PARTS) for cost in costs],
    )
    if flow is None:
        return None
    shares = np.zeros(len(problem.pool))
    shares[at] = flow
    return most_used(problem, classes, shares)


def most_used(problem: Problem, classes: Classes, shares: Floats) -> Ints:
    """Return how many sites of each class have the largest of their ``shares`` (E,) on each arc, shape (A,)."""
    order = np.lexsort((-shares, problem.site))
    site, first = np.unique(problem.site[order], return_index=True)
    class_of = classes.of_site[site]
    # A pair has the place among its site's that its arc has among its class's.
    arc = classes.indptr[class_of] + order[first] - problem.indptr[site]
    return np.bincount(arc, minlength=len(classes.pool)).astype(np.int64)
