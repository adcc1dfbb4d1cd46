"""Programs of `model_builder` as PuLP models, 3.3 and 4.x, solved by HiGHS."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pulp
import scipy.sparse as sp

from planner.arrays import falses
from planner.fleet import Floats
from planner.silence import silenced
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.highs import _INTERRUPTIBLE, LinearProgram, _failed, _interrupter, _outcome
from planner.sizing.solvers.model_builder import ModelBuilder

_KINDS = ("Continuous", "Integer")


class PulpModel:
    """A program as it grows, as a PuLP model: each solve takes in the columns and rows that are new."""

    def __init__(self, builder: ModelBuilder) -> None:
        self.builder = builder
        self._model = pulp.LpProblem("model", pulp.LpMinimize)
        self._variables: list[Any] = []
        self._rows = 0

    def solve(self, cost: Floats, budget: SolveBudget, stage: str = "") -> tuple[Outcome, Floats]:
        """Minimise ``cost`` (columns,); return how it ended, and the values of the columns where there is a solution.

        Progress is told under the name ``stage``. Raises SolverError when the solver reports a fault.
        """
        if budget.spent:
            return Outcome("unsolved", "no time left"), np.zeros(0)
        self._take_in(self.builder.program(cost))
        used = np.flatnonzero(cost).tolist()
        total = _linear((self._variables[j], float(cost[j])) for j in used)
        self._model.setObjective(total)
        with silenced():
            self._model.solve(_highs(budget, stage))
            if _failed(self._model.solverModel):
                # Seen where presolve empties a small program (HiGHS 1.16).
                self._model.solve(_highs(budget, stage, presolve="off"))
        outcome = _outcome(self._model.solverModel)
        # Columns that are in no row and cost nothing have no value.
        values = [x.value() or 0.0 for x in self._variables] if outcome.has_solution else []
        return outcome, np.array(values, dtype=np.float64)

    def _take_in(self, program: LinearProgram) -> None:
        """Add what the model does not have yet. Variables are named by position, since PuLP mangles names."""
        first = len(self._variables)
        columns = len(program.cost)
        whole = falses(columns) if program.whole is None else program.whole
        for j in range(first, columns):
            most = float(program.upper[j])
            kind = _KINDS[int(whole[j])]
            upper = most if np.isfinite(most) else None
            self._variables.append(self._model.add_variable(f"x{j:07d}", 0, upper, kind))
        given = program.matrix
        by_column = sp.csc_array((given.data, given.indices, given.indptr), shape=given.shape)
        matrix = sp.csr_array(by_column)
        for i in range(self._rows, len(program.row_lower)):
            entries = slice(matrix.indptr[i], matrix.indptr[i + 1])
            of_row = zip(matrix.indices[entries].tolist(), matrix.data[entries].tolist(), strict=True)
            summed = _linear((self._variables[j], value) for j, value in of_row)
            self._add_row(summed, program, i)
        self._rows = len(program.row_lower)

    def _add_row(self, terms: Any, program: LinearProgram, i: int) -> None:
        """Add row ``i``, of two sides where both are limits."""
        low = float(program.row_lower[i])
        high = float(program.row_upper[i])
        if low == high:
            self._model.addConstraint(terms == low, name=f"row{i}")
            return
        if np.isfinite(high):
            self._model.addConstraint(terms <= high, name=f"most{i}")
        if np.isfinite(low):
            self._model.addConstraint(terms >= low, name=f"least{i}")


def _linear(terms: Iterable[tuple[Any, float]]) -> Any:
    """Return the sum of variable times coefficient, in PuLP 3.3 and 4.x, without the cost of adding one by one."""
    return getattr(pulp.LpAffineExpression, "from_list", pulp.LpAffineExpression)(list(terms))


def _highs(budget: SolveBudget, stage: str, **options: str) -> Any:
    return pulp.HiGHS(
        msg=False,
        timeLimit=budget.left,
        gapRel=0.0,
        threads=1,
        random_seed=budget.seed,
        callbackTuple=(_interrupter(budget, stage), None),
        callbacksToActivate=list(_INTERRUPTIBLE),
        **options,
    )
