"""The only place that talks to a solver: PuLP 3.3 and 4.x models, and arrays handed to HiGHS.

Outcomes are read from HiGHS itself, because PuLP 3.3 calls a solve that ran out of time with a plan in
hand "Optimal". Solver output never reaches standard output, which carries only what was asked for.
"""

from __future__ import annotations

import dataclasses
import os
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Literal

import highspy
import numpy as np
import pulp
import scipy.sparse as sp

from planner.errors import SolverError
from planner.fleet import Bools, Floats, Ints
from planner.interrupts import heard

State = Literal["optimal", "feasible", "infeasible", "unsolved"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a solve ended: what is known, the solver's own word for it, and the dual bound (minimisation)."""

    state: State
    word: str
    objective: float = float("nan")
    bound: float = -float("inf")

    @property
    def has_solution(self) -> bool:
        """Whether variable values may be read."""
        return self.state in ("optimal", "feasible")


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a plan is: the ``stage``, best value and bound of what it makes small so far, seconds since the start.

    ``best`` is None before there is a plan. In stage ``weight`` both are of weight left unserved, in the
    solver's units.
    """

    stage: str
    best: float | None
    bound: float | None
    seconds: float


@dataclass
class Effort:
    """What a solve may spend, shared by all solves of one plan.

    ``seconds``: time limit, None for none. ``seed``: of the solver.
    ``stopped`` is set by Ctrl-C, or by ``watch`` when it returns False: the running solve returns its best
    and later ones do not start.
    """

    seconds: float | None = None
    seed: int = 0
    watch: Callable[[Progress], bool | None] | None = None
    stopped: threading.Event = field(default_factory=threading.Event)
    started: float = field(default_factory=time.monotonic)

    @property
    def left(self) -> float | None:
        """Seconds left, at least 0; None without a limit."""
        if self.stopped.is_set():
            return 0.0
        return None if self.seconds is None else max(0.0, self.seconds - (time.monotonic() - self.started))

    @property
    def spent(self) -> bool:
        """Whether nothing is left."""
        left = self.left
        return left is not None and left <= 0.0

    def allows(self, seconds: float) -> bool:
        """Say whether something that takes ``seconds`` and cannot be stopped may still begin."""
        left = self.left
        return left is None or left > seconds

    def within(self, seconds: float) -> Effort:
        """Return an effort that begins now, and ends with this one and after ``seconds`` at the latest."""
        left = seconds if self.left is None else min(seconds, self.left)
        return dataclasses.replace(self, seconds=left, started=time.monotonic())

    def tell(self, stage: str, best: float | None, bound: float | None) -> None:
        """Report progress to ``watch``."""
        if self.watch is not None:
            progress = Progress(stage, best, bound, time.monotonic() - self.started)
            if self.watch(progress) is False:
                self.stopped.set()

    @contextmanager
    def listening(self) -> Iterator[None]:
        """Turn Ctrl-C into ``stopped`` while the block runs; a second Ctrl-C interrupts as usual."""
        with heard(self.stopped.set):
            yield


def linear(terms: Iterable[tuple[Any, float]]) -> Any:
    """Return the sum of variable times coefficient, in PuLP 3.3 and 4.x, without the cost of adding one by one."""
    return getattr(pulp.LpAffineExpression, "from_list", pulp.LpAffineExpression)(list(terms))


def solve_model(model: Any, effort: Effort, stage: str = "") -> Outcome:
    """Solve a PuLP minimisation model in place and say how it ended; progress is told under the name ``stage``.

    Raises SolverError when the solver reports a fault.
    """
    if effort.spent:
        return Outcome("unsolved", "no time left")
    with _quiet():
        model.solve(_highs(effort, stage))
    return _outcome(model.solverModel)


def _highs(effort: Effort, stage: str) -> Any:
    return pulp.HiGHS(
        msg=False,
        timeLimit=effort.left,
        gapRel=0.0,
        threads=1,
        random_seed=effort.seed,
        callbackTuple=(_interrupter(effort, stage), None),
        callbacksToActivate=list(_INTERRUPTIBLE),
    )


_INTERRUPTIBLE = (
    highspy.cb.HighsCallbackType.kCallbackMipInterrupt,
    highspy.cb.HighsCallbackType.kCallbackSimplexInterrupt,
)


def _interrupter(effort: Effort, stage: str = "") -> Any:
    def interrupt(kind: Any, _message: str, data_out: Any, data_in: Any, _user: Any) -> None:
        # Reached from inside the solver: running Python here is also what lets the SIGINT handler run.
        if stage and kind == highspy.cb.HighsCallbackType.kCallbackMipInterrupt:
            found = (data_out.mip_primal_bound, data_out.mip_dual_bound)
            best, bound = (value if abs(value) < highspy.kHighsInf else None for value in found)
            effort.tell(stage, best, bound)
        data_in.user_interrupt = effort.stopped.is_set()

    return interrupt


def _outcome(highs: highspy.Highs) -> Outcome:
    status, info = highs.getModelStatus(), highs.getInfo()
    word = highs.modelStatusToString(status)
    kinds = highspy.HighsModelStatus
    if status in (kinds.kInfeasible, kinds.kUnboundedOrInfeasible):
        return Outcome("infeasible", word)
    if status == kinds.kModelEmpty:
        value = highs.getObjectiveValue()
        return Outcome("optimal", word, value, value)
    if status not in (kinds.kOptimal, kinds.kTimeLimit, kinds.kInterrupt, kinds.kIterationLimit, kinds.kSolutionLimit):
        raise SolverError(f"the solver ended with: {word}")
    mixed = any(kind != highspy.HighsVarType.kContinuous for kind in highs.getLp().integrality_)
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    value = info.objective_function_value
    if status == kinds.kOptimal:
        return Outcome("optimal", word, value, info.mip_dual_bound if mixed else value)
    bound = info.mip_dual_bound if mixed else -float("inf")
    return Outcome("feasible", word, value, bound) if found else Outcome("unsolved", word, bound=bound)


@dataclass(frozen=True)
class LinearProgram:
    """min cost x, row_lower <= matrix x <= row_upper, lower <= x <= upper; shapes (columns,), (rows,), (rows, columns).

    ``lower`` is 0 where None.
    """

    cost: Floats
    upper: Floats
    matrix: sp.csc_array
    row_lower: Floats
    row_upper: Floats
    whole: Bools | None = None
    lower: Floats | None = None


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
    program: LinearProgram, effort: Effort, *, gap: float = 0.0, start: Floats | None = None, stage: str = ""
) -> Answer:
    """Solve an LP or MILP handed over as arrays; skips the cost of building a PuLP model.

    ``gap``: relative gap that ends branch and bound, ``start`` (columns,) a solution to begin with, ``stage`` the name
    under which progress is told.

    Raises SolverError when the solver reports a fault.
    """
    if effort.spent:
        return _NOT_SOLVED
    with _quiet():
        highs = _quiet_highs(effort)
        highs.setOptionValue("mip_rel_gap", gap)
        _listen(highs, effort, stage)
        highs.passModel(_highs_lp(program))
        if start is not None:
            known = highspy.HighsSolution()
            known.col_value = start
            highs.setSolution(known)
        highs.run()
    return _answer(highs)


class GrowingProgram:
    """min cost x, 0 <= x <= upper, with rows that are added as they become known, and may change.

    Every solve but the first starts from the basis of the last, so that many solves cost little more than one.
    """

    def __init__(self, cost: Floats, upper: Floats, seed: int = 0) -> None:
        columns = len(cost)
        with _quiet():
            self._highs = _quiet_highs(Effort(seed=seed))
            self._highs.addVars(columns, np.zeros(columns), upper)
            self._highs.changeColsCost(columns, np.arange(columns, dtype=np.int32), cost)

    def add(self, matrix: sp.csr_array, lower: Floats, upper: Floats | None = None) -> None:
        """Add rows lower <= matrix x <= upper, shapes (R, columns) and (R,); without an upper limit if None."""
        most = np.full(len(lower), np.inf) if upper is None else upper
        self._highs.addRows(len(lower), lower, most, matrix.nnz, matrix.indptr[:-1], matrix.indices, matrix.data)

    def bound(self, columns: Ints, lower: Floats, upper: Floats) -> None:
        """Set the limits of ``columns``; all shapes (C,)."""
        self._highs.changeColsBounds(len(columns), columns.astype(np.int32), lower, upper)

    def limit(self, rows: Ints, upper: Floats) -> None:
        """Set the upper limits of ``rows``, which lose their lower ones; both shapes (R,)."""
        for row, most in zip(rows.tolist(), upper.tolist(), strict=True):
            self._highs.changeRowBounds(row, -np.inf, most)

    def change(self, row: int, column: int, value: float) -> None:
        """Set one coefficient of the rows that are there."""
        self._highs.changeCoeff(row, column, value)

    def solve(self, effort: Effort) -> Answer:
        """Return the answer; SolverError when the solver reports a fault."""
        if effort.spent:
            return _NOT_SOLVED
        with _quiet():
            # The solver counts the seconds of all runs together.
            left = np.inf if effort.left is None else self._highs.getRunTime() + effort.left
            self._highs.setOptionValue("time_limit", left)
            _listen(self._highs, effort)
            self._highs.run()
        return _answer(self._highs)


def _quiet_highs(effort: Effort) -> highspy.Highs:
    highs = highspy.Highs()  # type: ignore[no-untyped-call]
    highs.setOptionValue("output_flag", False)
    highs.setOptionValue("threads", 1)
    highs.setOptionValue("random_seed", effort.seed)
    if effort.left is not None:
        highs.setOptionValue("time_limit", effort.left)
    return highs


def _listen(highs: highspy.Highs, effort: Effort, stage: str = "") -> None:
    highs.setCallback(_interrupter(effort, stage), None)
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


@contextmanager
def _quiet() -> Iterator[None]:
    """Silence descriptor 1 while the block runs: HiGHS prints a banner below Python."""
    sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # no descriptor 1, so nothing to keep clean
        yield
        return
    try:
        with open(os.devnull, "w") as nowhere:
            os.dup2(nowhere.fileno(), 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
