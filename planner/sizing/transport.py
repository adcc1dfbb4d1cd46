"""The transportation problem with costs in order: least first cost, then least second among equals, …

Only arcs of zero reduced cost and rows kept at their limit where the dual is not zero carry an
optimal flow (complementary slackness), so each later cost is minimised on that face: the matrix stays
a transportation matrix and vertices stay whole. Source: G. B. Dantzig, Linear Programming and
Extensions (1963), chapters on duality and the transportation problem.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from planner.errors import SolverError
from planner.fleet import Bools, Floats, Ints
from planner.sizing.solver import Effort, LinearProgram, solve_arrays

_ZERO = 1e-7  # reduced costs and duals below this count as zero; HiGHS's own dual feasibility tolerance


@dataclass(frozen=True)
class Transport:
    """Sources that send all of ``supply`` (R,) over arcs ``tail`` -> ``head`` (A,) to sinks of ``room`` (T,)."""

    tail: Ints
    head: Ints
    supply: Ints
    room: Ints


def lexicographic_flow(problem: Transport, costs: Sequence[Floats], effort: Effort) -> tuple[Ints | None, bool]:
    """Return the flow on each arc (A,), and whether every cost in ``costs`` is proven least in its turn.

    None when no flow carries the supply, or time ended before one was found. Raises SolverError when
    the solver returns a flow that is not whole.
    """
    arcs, sources = len(problem.tail), len(problem.supply)
    ones = np.ones(2 * arcs)
    rows = np.concatenate((problem.tail, sources + problem.head))
    columns = np.tile(np.arange(arcs), 2)
    shape = (sources + len(problem.room), arcs)
    matrix = sp.csc_array(sp.coo_array((ones, (rows, columns)), shape=shape))
    tight: Bools = np.zeros(len(problem.room), dtype=np.bool_)
    open_arcs: Bools = np.ones(arcs, dtype=np.bool_)
    flow: Ints | None = None
    for cost in costs:
        if not open_arcs.any():
            return np.zeros(arcs, dtype=np.int64), True
        used = np.flatnonzero(open_arcs)
        program = LinearProgram(
            cost=cost[used],
            upper=np.full(len(used), np.inf),
            matrix=matrix[:, used],
            row_lower=np.concatenate((problem.supply, np.where(tight, problem.room, 0))).astype(np.float64),
            row_upper=np.concatenate((problem.supply, problem.room)).astype(np.float64),
        )
        answer = solve_arrays(program, effort)
        if answer.outcome.state != "optimal":
            return flow, False
        flow = np.zeros(arcs, dtype=np.int64)
        flow[used] = _whole(answer.x)
        scale = _ZERO * max(1.0, float(np.abs(cost).max(initial=0.0)))
        open_arcs[used] = np.abs(answer.reduced_cost) <= scale
        tight = tight | (np.abs(answer.dual[sources:]) > scale)
    return flow, True


def _whole(x: Floats) -> Ints:
    whole = np.rint(x)
    if np.abs(x - whole).max(initial=0.0) > 1e-5:
        raise SolverError("a transportation problem came back with a flow that is not whole")
    return whole.astype(np.int64)
