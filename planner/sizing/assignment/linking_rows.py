"""Which of the rows f <= m n (3b) of the flow model its linear relaxation needs.

All of them together make the relaxation strong and the model several times as large; few ever bind. They follow from
the other rows for whole n, so leaving some out is always sound. Those that the relaxation breaks are taken in, round by
round, until it breaks none: its value is then that with all of them.

The relaxation also knows how many hosts the clusters take at least (2c): it would rather run 15.2 hosts than 16.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.arrays import as_floats, falses, indices
from planner.fleet import Bools, Floats, Ints
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import Answer, GrowingProgram, LinearProgram
from planner.sizing.solvers.matrices import Compressed, by_rows
from planner.sizing.solvers.model_builder import Loads, ModelBuilder, Terms, add_room

_BROKEN = 1e-6
_DEVEX = 1  # of HiGHS: rows come and go round by round here, and steepest edges would begin anew each time


def open_limits(problem: Problem, classes: Classes) -> Ints:
    """Return m of each arc, shape (A,): the most units of its class that one host of its pool can take."""
    room: Ints = problem.caps[classes.pool] // classes.arc_items
    return np.asarray(np.minimum(classes.arc_demand, room))


def add_open_rows(model: ModelBuilder, classes: Classes, limits: Ints, arcs: Ints, columns: tuple[Ints, Ints]) -> None:
    """Add (3b) of ``arcs`` (n,), whose m is in ``limits`` (A,); ``columns`` are those of hosts (P,) and arcs (A,)."""
    hosts, flow = columns
    each = indices(arcs)
    most = as_floats(limits[arcs])
    sent: Terms = each, flow[arcs], 1.0
    room: Terms = each, hosts[classes.pool[arcs]], -most
    model.below([sent, room], len(arcs))


@dataclass(frozen=True, slots=True)
class Relaxed:
    """The relaxation with the rows (3b) it needs: columns n_p, then f_a.

    ``bound`` on cost, values ``x`` and ``reduced_cost`` of its columns; ``arcs`` that have a row (3b); these rows come
    last in ``program``, from ``first_open_row`` on.
    """

    program: LinearProgram
    bound: float
    x: Floats
    reduced_cost: Floats
    arcs: Ints
    first_open_row: int


def open_arcs(problem: Problem, classes: Classes) -> Ints:
    """Return the arcs whose row is needed; all of them where serving every class by shared hosts is not possible."""
    relaxed = relax(problem, classes, SolveBudget())
    if relaxed is None:
        return indices(classes.pool)
    return relaxed.arcs


def relax(problem: Problem, classes: Classes, budget: SolveBudget) -> Relaxed | None:
    """Return the relaxation of serving every class by shared hosts; None when it has no solution or time ended."""
    limits = open_limits(problem, classes)
    none = falses(len(classes.pool))
    program = _relaxation(problem, classes, limits, none)
    growing = WithOpenRows(program, problem.pools, classes.pool, limits, budget.seed)
    answer = growing.solve(budget)
    if answer.outcome.state != "optimal":
        return None
    arcs = np.flatnonzero(growing.taken)
    rows = len(program.row_lower)
    bound = answer.outcome.objective
    whole = _relaxation(problem, classes, limits, growing.taken)
    return Relaxed(whole, bound, answer.x, answer.reduced_cost, arcs, rows)


class WithOpenRows:
    """A relaxation that takes in its rows f_a <= m_a n_p as it breaks them.

    ``program`` has columns n_p for pools, then f_a for arcs, then others; ``pool``, ``limits`` (A,): p and m of arcs.
    ``taken`` (A,) marks the arcs whose row is in; a row stays in. ``iterations`` of the simplex method so far.
    """

    def __init__(self, program: LinearProgram, pools: int, pool: Ints, limits: Ints, seed: int) -> None:
        self.pool, self.limits = pool, limits
        self.columns, self.pools = len(program.cost), pools
        self.taken = falses(len(pool))
        self.iterations = 0
        self._growing = GrowingProgram(program, seed, dual_edge_weights=_DEVEX)

    def bound(self, columns: Ints, lower: Floats, upper: Floats) -> None:
        """Keep ``columns`` from ``lower`` to ``upper`` from now on; all shapes (C,)."""
        self._growing.bound(columns, lower, upper)

    def solve(self, budget: SolveBudget, enough: float = np.inf) -> Answer:
        """Return the answer with all rows that are needed; less will do once the value is ``enough``."""
        while True:
            answer = self._growing.solve(budget)
            self.iterations += answer.iterations
            if answer.outcome.state != "optimal" or answer.outcome.objective >= enough:
                return answer
            hosts = answer.x[: self.pools]
            flow = answer.x[self.pools :][: len(self.pool)]
            too_much = flow > self.limits * hosts[self.pool] + _BROKEN
            broken = np.flatnonzero(~self.taken & too_much)
            if not len(broken):
                return answer
            self._take(broken)

    def _take(self, arcs: Ints) -> None:
        self.taken[arcs] = True
        rows = _open_rows(self.pool, self.limits, arcs, self.pools, self.columns)
        no_least = np.full(len(arcs), -np.inf)
        self._growing.add(rows, no_least, np.zeros(len(arcs)))


def fewest_hosts(problem: Problem, clusters: int) -> int:
    """Return how many hosts it takes to carry ``clusters`` if the largest ones may be chosen; a lower bound."""
    order = np.argsort(-problem.caps, kind="stable")
    caps = problem.caps[order]
    most = problem.max_hosts[order]
    room = np.cumsum(caps * most)
    before = np.concatenate(([0], room))
    at = int(np.searchsorted(before, clusters)) - 1  # the pool whose hosts complete the room
    if at < 0 or at >= len(caps):
        return int(most.sum()) if at >= 0 else 0
    unfilled = (before[at] - clusters) // caps[at]
    return int(most[:at].sum() - unfilled)


def _relaxation(problem: Problem, classes: Classes, limits: Ints, taken: Bools) -> LinearProgram:
    """Return rows (1), (2), (2c) and the ``taken`` ones of (3b); columns n_p, then f_a."""
    model = ModelBuilder()
    demand = as_floats(classes.demand)
    n = model.block(problem.pools, problem.host_cost, problem.max_hosts)
    of_arc = demand[classes.of_arc]
    f = model.block(len(classes.pool), classes.cost, of_arc)
    served: Terms = classes.of_arc, f, 1.0
    model.equal([served], classes.count, demand)
    loads = Loads(classes.pool, f, classes.arc_items)
    add_room(model, problem.caps, n, [loads])
    clusters = int(classes.demand @ classes.items)
    model.at_least([(n, 1.0)], fewest_hosts(problem, clusters))
    add_open_rows(model, classes, limits, np.flatnonzero(taken), (n, f))
    return model.program()


def _open_rows(pool: Ints, limits: Ints, arcs: Ints, pools: int, columns: int) -> Compressed:
    """Return rows (3b) of ``arcs``: f_a - m_a n_p, shape (rows, columns)."""
    row = indices(arcs)
    column = np.concatenate((pool[arcs], pools + arcs))
    most = as_floats(limits[arcs])
    values = np.concatenate((-most, np.ones(len(arcs))))
    rows = np.concatenate((row, row))
    return by_rows(rows, column, values, (len(arcs), columns))
