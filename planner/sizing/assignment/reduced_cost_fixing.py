"""Hosts and pairs with pair costs, every class served by shared hosts: solved on the few pairs that can matter.

The relaxation of `assignment.linking_rows` gives a bound L and a reduced cost r for every column. A plan of cost v is
found on the columns of small r, not quite to the optimum. Any plan cheaper than v uses only columns of
r <= v - L (H. Crowder, E. L. Johnson, M. W. Padberg, Operations Research 31 (1983) 803-834), so the optimum on these is
the optimum: usually a third of the pairs is left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from planner.arrays import rounded, trues
from planner.fleet import Bools, Floats
from planner.sizing.assignment.linking_rows import Relaxed, relax
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.counts import Counts
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.highs import Answer, LinearProgram, solve_arrays
from planner.sizing.solvers.matrices import Matrix

_FIRST_SHARE = 0.005  # of the bound: reduced cost of the columns that the first plan may use
_FIRST_GAP = 0.01  # how far from its optimum it may be


def solve_core(problem: Problem, classes: Classes, budget: SolveBudget) -> tuple[Outcome, Counts] | None:
    """Return how it ended and the counts, which may not pack into hosts yet; None when there is no plan in time.

    Needs objective cost, no own tie-breakers and no limits on hubs, zones or weight.
    """
    relaxed = relax(problem, classes, budget)
    if relaxed is None:
        return None
    lower = relaxed.bound
    small = _Columns(relaxed, classes, lower * (1 + _FIRST_SHARE))
    first = small.solve(budget, gap=_FIRST_GAP)
    best = first.x if first.outcome.has_solution else None
    value = first.outcome.objective if best is not None else np.inf
    if best is not None and value <= lower * (1 + 1e-9):
        word = "the simplified model already gave the proven best plan"
        return Outcome("optimal", word, value, value), _counts(problem, classes, best)
    answer = _Columns(relaxed, classes, value).solve(budget, start=best)
    outcome = answer.outcome
    if outcome.has_solution and outcome.objective <= value:
        best, value = answer.x, outcome.objective
    if best is None:
        return None
    counts = _counts(problem, classes, best)
    if outcome.state in ("optimal", "infeasible"):  # infeasible: nothing is cheaper than the first plan
        return Outcome("optimal", outcome.word, value, value), counts
    bound = min(value, max(lower, outcome.bound))
    return Outcome("feasible", outcome.word, value, bound), counts


def _of_scipy(matrix: Matrix) -> sp.csc_array:
    return sp.csc_array((matrix.data, matrix.indices, matrix.indptr), shape=matrix.shape)


@dataclass
class _Columns:
    """The model on the columns that a plan of cost ``most`` or less may use; all rows are kept."""

    relaxed: Relaxed
    classes: Classes
    most: float

    @property
    def kept(self) -> Bools:
        relaxed = self.relaxed
        last_digits = 1e-6 * max(1.0, abs(relaxed.bound))
        slack = self.most - relaxed.bound + last_digits
        kept: Bools = (relaxed.reduced_cost <= slack) | (relaxed.x > 1e-6)
        return kept

    def solve(self, budget: SolveBudget, gap: float = 0.0, start: Floats | None = None) -> Answer:
        """Return the answer with values of all columns; ``start`` are values of a plan."""
        at = np.flatnonzero(self.kept)
        whole = self.relaxed.program
        columns_in_all = whole.matrix.shape[1]
        pools = columns_in_all - len(self.classes.pool)
        matrix = sp.csr_array(_of_scipy(whole.matrix)[:, at])
        # Without its pair, a row of f <= m n says nothing.
        open_row = np.arange(matrix.shape[0]) >= self.relaxed.first_open_row
        rows = np.flatnonzero(np.diff(matrix.indptr) > open_row)
        kinds = np.concatenate((trues(pools), self.classes.arc_fixed))
        row_lower = whole.row_lower[rows]
        row_upper = whole.row_upper[rows]
        columns = sp.csc_array(matrix[rows])
        cost, upper = whole.cost[at], whole.upper[at]
        program = LinearProgram(cost, upper, columns, row_lower, row_upper, kinds[at])
        begin = None if start is None else start[at]
        answer = solve_arrays(program, budget, gap=gap, start=begin, stage="cost")
        x = np.zeros(len(whole.cost))
        if answer.outcome.has_solution:
            x[at] = answer.x
        return Answer(answer.outcome, x, answer.reduced_cost, answer.dual)


def _counts(problem: Problem, classes: Classes, x: Floats) -> Counts:
    hosts, flow = np.split(x, [problem.pools])
    fixed = classes.arc_fixed
    flow = np.where(fixed, np.rint(flow), flow)
    return Counts.of_hosts(classes, rounded(hosts), flow)
