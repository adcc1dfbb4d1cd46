"""The transportation problem with costs in order: least first cost, then least second among equals, …

The costs are made whole and combined so that one unit of an earlier cost outweighs everything later;
a minimum-cost flow of whole arcs is whole (G. B. Dantzig, Linear Programming and Extensions, 1963). The
flow is OR-Tools' cost-scaling push-relabel (A. V. Goldberg, J. Algorithms 22 (1997) 1-29).
"""

from __future__ import annotations

import math
import operator
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from ortools.graph.python import min_cost_flow

from planner.arrays import int_zeros, rounded
from planner.errors import SolverError
from planner.fleet import Bools, Floats, Ints
from planner.sizing.instance.load_limits import laminar_parents

_TOO_LARGE = min_cost_flow.SimpleMinCostFlow.BAD_COST_RANGE
_COARSEST = 1e12
_LARGEST = 2**62  # the flow code multiplies costs by the number of nodes, in 64 bits


@dataclass(frozen=True)
class Transport:
    """Sources that send all of ``supply`` (R,) over arcs ``tail`` -> ``head`` (A,) to sinks of ``room`` (T,).

    An arc carries ``most`` (A,), or all of its source's supply where None. Each of ``limits`` is a set of sinks (mask,
    (T,)) and what they take together; of any two sets one holds the other, or they share no sink.
    """

    tail: Ints
    head: Ints
    supply: Ints
    room: Ints
    most: Ints | None = None
    limits: tuple[tuple[Bools, int], ...] = ()

    def take(self, keep: Bools) -> Transport:
        """Return the problem with the arcs that ``keep`` (A,) marks."""
        most = None if self.most is None else self.most[keep]
        tail, head = self.tail[keep], self.head[keep]
        return replace(self, tail=tail, head=head, most=most)

    def reached(self) -> Transport:
        """Return the problem without the sinks that no arc leads to and no limit names; its arcs keep their order."""
        kept = np.bincount(self.head, minlength=len(self.room)) > 0
        for inside, _ in self.limits:
            kept |= inside
        number = np.cumsum(kept) - 1
        limits = tuple((inside[kept], most) for inside, most in self.limits)
        head, room = number[self.head], self.room[kept]
        return replace(self, head=head, room=room, limits=limits)


@dataclass(frozen=True)
class Cost:
    """Cost of a unit on each arc (A,), not negative, and the step that it is rounded to."""

    values: Floats
    step: float

    def total(self, flow: Ints) -> float:
        """Return the total over a ``flow`` (A,), in whole steps."""
        steps = np.rint(self.values / self.step)
        return float((steps * flow).sum()) * self.step


def least_cost_flow(problem: Transport, costs: Sequence[Cost]) -> Ints | None:
    """Return the flow on each arc (A,) that is least in ``costs``, taken in order; None when none carries the supply.

    Costs count to their step; where numbers would outgrow 64 bits, steps are made coarser, tenfold at a
    time. Raises SolverError when the flow code fails.
    """
    coarser = 1.0
    reached = problem.reached()  # the flow code takes its time for every node
    while True:
        found = _flow(reached, costs, coarser)
        if found is None or isinstance(found, np.ndarray):
            return found
        if found != _TOO_LARGE or coarser > _COARSEST:
            raise SolverError(f"the solver of network flows failed (status {found})")
        coarser *= 10.0  # prices add up along paths, so that no bound on costs alone tells what the flow code bears


def _flow(
    problem: Transport, costs: Sequence[Cost], coarser: float
) -> Ints | min_cost_flow.SimpleMinCostFlow.Status | None:
    """Return the flow with steps that are ``coarser`` times as large, None for none, or the status of a failure."""
    sources = len(problem.supply)
    total = int(problem.supply.sum())
    sets = [inside for inside, _ in problem.limits]
    after = laminar_parents(sets, len(problem.room))
    limits = [most for _, most in problem.limits]
    taken = np.concatenate((problem.room, limits)).astype(np.int64)
    if (taken < 0).any():
        return None
    inner = len(after)
    sink = sources + inner
    most = problem.most
    if most is None:
        most = problem.supply[problem.tail]
    tail = np.concatenate((problem.tail, sources + np.arange(inner)))
    head = np.concatenate((sources + problem.head, sources + after))
    capacity = np.concatenate((most, np.minimum(taken, total)))
    one_cost = combined(costs, total, sink + 1, coarser)
    cost = np.concatenate((one_cost, int_zeros(inner)))
    flow = min_cost_flow.SimpleMinCostFlow()
    arcs = flow.add_arcs_with_capacity_and_unit_cost(tail, head, capacity, cost)
    supplies = np.concatenate((problem.supply, int_zeros(inner), [-total]))
    flow.set_nodes_supplies(np.arange(sink + 1), supplies)
    status = flow.solve()
    if status == flow.INFEASIBLE:
        return None
    if status != flow.OPTIMAL:
        return status
    sent = flow.flows(arcs[: len(problem.tail)])
    return np.asarray(sent, dtype=np.int64)


def total_costs(costs: Sequence[Cost], flow: Ints) -> tuple[float, ...]:
    """Return the total of each cost over a flow (A,), in whole steps."""
    return tuple(cost.total(flow) for cost in costs)


def combined(costs: Sequence[Cost], total: int, nodes: int, coarser: float = 1.0) -> Ints:
    """Return one whole cost for each arc in which earlier costs outweigh later ones over ``total`` units.

    Steps, ``coarser`` at first, are made coarser still, tenfold at a time, where a flow code with ``nodes`` nodes would
    not bear the numbers.
    """
    while True:
        steps = [cost.step * coarser for cost in costs]
        paired = zip(costs, steps, strict=True)
        whole = [rounded(cost.values / step) for cost, step in paired]
        most = [int(values.max(initial=0)) for values in whole]
        # Plain integers here: they cannot overflow while it is found out whether arrays would.
        above = [m * total + 1 for m in most]
        weights = [math.prod(above[level:]) for level in range(1, len(costs) + 1)]
        largest = sum(map(operator.mul, most, weights))
        if largest * (nodes + 1) < _LARGEST:
            weighed = [values * weight for values, weight in zip(whole, weights, strict=True)]
            summed: Ints = np.sum(weighed, axis=0)
            return summed
        coarser *= 10.0
