"""Which of the rows f <= m n (3b) of the flow model its linear relaxation needs.

All of them together make the relaxation strong and the model several times as large; few ever bind. They follow from
the other rows for whole n, so leaving some out is always sound. Those that the relaxation breaks are taken in, round by
round, until it breaks none: its value is then that with all of them.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from planner.fleet import Bools, Ints
from planner.sizing.problem import Classes, Problem
from planner.sizing.solver import Effort, LinearProgram, solve_arrays

_BROKEN = 1e-6


def open_limits(problem: Problem, classes: Classes) -> Ints:
    """Return m of each arc, shape (A,): the most units of its class that one host of its pool can take."""
    return np.minimum(classes.demand[classes.of_arc], problem.caps[classes.pool] // classes.items[classes.of_arc])


def open_arcs(problem: Problem, classes: Classes) -> Ints:
    """Return the arcs whose row is needed; all of them where serving every class by shared hosts is not possible."""
    limits = open_limits(problem, classes)
    taken = np.zeros(len(classes.pool), dtype=np.bool_)
    while True:
        answer = solve_arrays(_relaxation(problem, classes, limits, taken), Effort())
        if answer.outcome.state != "optimal":
            return np.arange(len(classes.pool))
        hosts, flow = np.split(answer.x, [problem.pools])
        broken = ~taken & (flow > limits * hosts[classes.pool] + _BROKEN)
        if not broken.any():
            return np.flatnonzero(taken)
        taken |= broken


def _relaxation(problem: Problem, classes: Classes, limits: Ints, taken: Bools) -> LinearProgram:
    """Return rows (1), (2) and the ``taken`` ones of (3b); columns n_p, then f_a."""
    arcs, pools, kinds = len(classes.pool), problem.pools, classes.count
    each, rows = np.arange(arcs), np.flatnonzero(taken)
    shape = (len(rows), pools)
    of_class = sp.csr_array((np.ones(arcs), (classes.of_arc, each)), shape=(kinds, arcs))
    load = sp.csr_array((classes.items[classes.of_arc].astype(float), (classes.pool, each)), shape=(pools, arcs))
    opened = sp.csr_array((limits[rows].astype(float), (np.arange(len(rows)), classes.pool[rows])), shape=shape)
    matrix = sp.vstack(
        (
            sp.hstack((sp.csr_array((kinds, pools)), of_class)),
            sp.hstack((sp.diags_array(-problem.caps.astype(float)), load)),
            sp.hstack((-opened, sp.eye_array(arcs, format="csr")[rows])),
        )
    )
    at_most = np.zeros(pools + len(rows))
    demand = classes.demand.astype(np.float64)
    return LinearProgram(
        cost=np.concatenate((problem.host_cost, classes.cost)).astype(np.float64),
        upper=np.concatenate((problem.max_hosts, demand[classes.of_arc])).astype(np.float64),
        matrix=sp.csc_array(matrix),
        row_lower=np.concatenate((demand, np.full(len(at_most), -np.inf))),
        row_upper=np.concatenate((demand, at_most)),
    )
