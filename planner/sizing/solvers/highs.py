"""Linear and integer programs given as arrays, solved by HiGHS."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import highspy
import numpy as np

from planner.errors import SolverError
from planner.fleet import Bools, Floats, Ints
from planner.silence import silenced
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.matrices import Matrix

_INTERRUPTIBLE = (
    highspy.cb.HighsCallbackType.kCallbackMipInterrupt,
    highspy.cb.HighsCallbackType.kCallbackSimplexInterrupt,
    highspy.cb.HighsCallbackType.kCallbackIpmInterrupt,
)


def _interrupter(budget: SolveBudget, stage: str = "") -> Any:
    def interrupt(kind: Any, _message: str, data_out: Any, data_in: Any, _user: Any) -> None:
        # Reached from inside the solver: running Python here is also what lets the SIGINT handler run.
        if stage and kind == highspy.cb.HighsCallbackType.kCallbackMipInterrupt:
            found = (data_out.mip_primal_bound, data_out.mip_dual_bound)
            best, bound = (value if abs(value) < highspy.kHighsInf else None for value in found)
            budget.tell(stage, best, bound)
        data_in.user_interrupt = budget.stopped.is_set()

    return interrupt


def _failed(highs: highspy.Highs) -> bool:
    """Say whether the solver gave up for a fault of its own."""
    return bool(highs.getModelStatus() == highspy.HighsModelStatus.kSolveError)


def _outcome(highs: highspy.Highs) -> Outcome:
    status, info = highs.getModelStatus(), highs.getInfo()
    word = highs.modelStatusToString(status)
    kinds = highspy.HighsModelStatus
    if status in (kinds.kInfeasible, kinds.kUnboundedOrInfeasible, kinds.kObjectiveBound):
        return Outcome("infeasible", word)
    if status == kinds.kModelEmpty:
        value = highs.getObjectiveValue()
        return Outcome("optimal", word, value, value)
    early = kinds.kTimeLimit, kinds.kInterrupt, kinds.kIterationLimit, kinds.kSolutionLimit, kinds.kObjectiveTarget
    if status not in (kinds.kOptimal, *early):
        raise SolverError(f"the solver ended with: {word}")
    kinds_of_columns = highs.getLp().integrality_
    mixed = any(kind != highspy.HighsVarType.kContinuous for kind in kinds_of_columns)
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    value = info.objective_function_value
    if status == kinds.kOptimal:
        return Outcome("optimal", word, value, info.mip_dual_bound if mixed else value)
    bound = info.mip_dual_bound if mixed else -float("inf")
    if found:
        return Outcome("feasible", word, value, bound)
    return Outcome("unsolved", word, bound=bound)


@dataclass(frozen=True)
class LinearProgram:
    """min cost x, row_lower <= matrix x <= row_upper, lower <= x <= upper; shapes (columns,), (rows,), (rows, columns).

    ``matrix`` is given column by column; ``lower`` is 0 where None.
    """

    cost: Floats
    upper: Floats
    matrix: Matrix
    row_lower: Floats
    row_upper: Floats
    whole: Bools | None = None
    lower: Floats | None = None

    def fixed(self, columns: Ints, values: Ints | Floats) -> LinearProgram:
        """Return the program in which ``columns`` (n,) have these ``values`` (n,)."""
        lower = np.zeros(len(self.cost)) if self.lower is None else self.lower.copy()
        upper = self.upper.copy()
        lower[columns] = upper[columns] = values
        return dataclasses.replace(self, lower=lower, upper=upper)


@dataclass(frozen=True, slots=True)
class Answer:
    """Values of an array solve: ``x`` (columns,), and for a pure LP ``reduced_cost`` and ``dual`` (rows,).

    ``iterations``: how many steps of the simplex method it took.
    """

    outcome: Outcome
    x: Floats
    reduced_cost: Floats
    dual: Floats
    iterations: int = 0


_NOT_SOLVED = Answer(Outcome("unsolved", "no time left"), np.zeros(0), np.zeros(0), np.zeros(0))


def solve_arrays(
    program: LinearProgram,
    budget: SolveBudget,
    *,
    gap: float = 0.0,
    start: Floats | None = None,
    stage: str = "",
    options: Mapping[str, float | bool | str] | None = None,
) -> Answer:
    """Solve an LP or MILP handed over as arrays; skips the cost of building a PuLP model.

    ``gap``: relative gap that ends branch and bound, ``start`` (columns,) a solution to begin with, ``stage`` the name
    under which progress is told, ``options`` are further ones of HiGHS.

    Raises SolverError when the solver reports a fault.
    """
    if budget.spent:
        return _NOT_SOLVED
    with silenced():
        highs = _quiet_highs(budget)
        highs.setOptionValue("mip_rel_gap", gap)
        for name, value in (options or {}).items():
            highs.setOptionValue(name, value)
        _listen(highs, budget, stage)
        highs.passModel(_highs_lp(program))
        if start is not None:
            known = highspy.HighsSolution()
            known.col_value = start
            highs.setSolution(known)
        highs.run()
        if _failed(highs):  # seen where presolve empties a small program (HiGHS 1.16)
            highs.setOptionValue("presolve", "off")
            highs.clearSolver()
            highs.run()
    return _answer(highs)


class GrowingProgram:
    """A ``program`` to which rows and columns are added as they become known, and which may change.

    Every solve but the first starts from the basis of the last, so that many solves cost little more than one. Where
    much has changed since then, that basis is worse than none.
    """

    def __init__(self, program: LinearProgram, seed: int = 0, *, dual_edge_weights: int = -1) -> None:
        """``dual_edge_weights``: how the dual simplex method weighs rows after the first solve, as HiGHS numbers it.

        -1: HiGHS chooses, as it always does for the first one.
        """
        self._weights_later = dual_edge_weights
        with silenced():
            self._highs = _quiet_highs(SolveBudget(seed=seed))
            self._highs.passModel(_highs_lp(program))

    def add(self, matrix: Matrix, lower: Floats, upper: Floats | None = None) -> None:
        """Add rows lower <= matrix x <= upper, shapes (R, columns) and (R,); without an upper limit if None."""
        most = np.full(len(lower), np.inf) if upper is None else upper
        entries = matrix.indptr[:-1], matrix.indices, matrix.data
        self._highs.addRows(len(lower), lower, most, len(matrix.data), *entries)

    def add_columns(self, matrix: Matrix) -> None:
        """Add columns x >= 0 that cost nothing, shape (rows, C), to the rows that are there."""
        number = matrix.shape[1]
        inf = np.full(matrix.shape[1], np.inf)
        nothing = np.zeros(number)
        entries = matrix.indptr[:-1], matrix.indices, matrix.data
        self._highs.addCols(number, nothing, nothing, inf, len(matrix.data), *entries)

    def bound(self, columns: Ints, lower: Floats, upper: Floats) -> None:
        """Keep ``columns`` from ``lower`` to ``upper`` from here on; all shapes (C,)."""
        self._highs.changeColsBounds(len(columns), columns.astype(np.int32), lower, upper)

    def price(self, columns: Ints, cost: Floats) -> None:
        """Set the costs of ``columns``; both shapes (C,)."""
        self._highs.changeColsCost(len(columns), columns.astype(np.int32), cost)

    def change(self, row: int, column: int, value: float) -> None:
        """Set the coefficient of ``column`` in a ``row`` that is there to ``value``."""
        self._highs.changeCoeff(row, column, value)

    def basis(self) -> Any:
        """Return the basis of the last solve, for `begin_at`."""
        return self._highs.getBasis()

    def begin_at(self, basis: Any) -> None:
        """Let the next solve begin from a ``basis`` of these rows and columns; from the last one where it is None."""
        if basis is not None:
            self._highs.setBasis(basis)

    def forget(self) -> None:
        """Let the next solve begin without a basis."""
        self._highs.clearSolver()

    def cut_off(self, value: float) -> None:
        """Call the program infeasible from here on as soon as it is known to cost more than ``value``."""
        self._highs.setOptionValue("objective_bound", value)

    def solve(self, budget: SolveBudget, *, interior: bool = False) -> Answer:
        """Return the answer; SolverError when the solver reports a fault.

        ``interior``: by an interior point method. Values and duals are then those of no vertex, and no basis is left.
        """
        if budget.spent:
            return _NOT_SOLVED
        with silenced():
            self._by_interior_points(interior)
            # The solver counts the seconds of all runs together.
            gone = self._highs.getRunTime()
            left = np.inf if budget.left is None else gone + budget.left
            self._highs.setOptionValue("time_limit", left)
            _listen(self._highs, budget)
            self._highs.run()
            if self._highs.getModelStatus() == highspy.HighsModelStatus.kUnknown:  # lost from where the last one ended
                self._highs.clearSolver()
                self._by_interior_points(False)
                self._highs.run()
            self._highs.setOptionValue("simplex_dual_edge_weight_strategy", self._weights_later)
        return _answer(self._highs)

    def _by_interior_points(self, wanted: bool) -> None:
        if wanted:
            self._highs.clearSolver()
        self._highs.setOptionValue("solver", "ipm" if wanted else "choose")
        self._highs.setOptionValue("run_crossover", "off" if wanted else "on")


def _quiet_highs(budget: SolveBudget) -> highspy.Highs:
    highs = highspy.Highs()  # type: ignore[no-untyped-call]
    highs.setOptionValue("output_flag", False)
    highs.setOptionValue("threads", 1)
    highs.setOptionValue("random_seed", budget.seed)
    if budget.left is not None:
        highs.setOptionValue("time_limit", budget.left)
    return highs


def _listen(highs: highspy.Highs, budget: SolveBudget, stage: str = "") -> None:
    highs.setCallback(_interrupter(budget, stage), None)
    for kind in _INTERRUPTIBLE:
        highs.startCallback(kind)


def _answer(highs: highspy.Highs) -> Answer:
    solution = highs.getSolution()
    return Answer(
        _outcome(highs),
        np.asarray(solution.col_value),
        np.asarray(solution.col_dual),
        np.asarray(solution.row_dual),
        max(0, highs.getInfo().simplex_iteration_count),
    )


def _highs_lp(program: LinearProgram) -> highspy.HighsLp:
    lp = highspy.HighsLp()
    rows, columns = program.matrix.shape
    lp.num_row_, lp.num_col_ = rows, columns
    lp.col_cost_ = program.cost
    lp.col_lower_ = np.zeros(columns) if program.lower is None else program.lower
    lp.col_upper_ = program.upper
    lp.row_lower_ = program.row_lower
    lp.row_upper_ = program.row_upper
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_ = program.matrix.indptr
    lp.a_matrix_.index_ = program.matrix.indices
    lp.a_matrix_.value_ = program.matrix.data
    if program.whole is not None:
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        lp.integrality_ = [kinds[int(whole)] for whole in program.whole]
    return lp
