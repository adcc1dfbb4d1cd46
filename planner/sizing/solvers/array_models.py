"""Programs of `model_builder` solved as arrays: PuLP takes longer to hold one than the solver to solve it."""

from __future__ import annotations

from planner.errors import SolverError
from planner.fleet import Floats
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.highs import solve_arrays
from planner.sizing.solvers.model_builder import ModelBuilder


class ArrayModel:
    """What `pulp_models.PulpModel` is, made anew by each solve."""

    def __init__(self, builder: ModelBuilder) -> None:
        self.builder = builder

    def solve(self, cost: Floats, budget: SolveBudget, stage: str = "") -> tuple[Outcome, Floats]:
        """Minimise ``cost`` (columns,); return how it ended, and the values of the columns where there is a solution.

        Progress is told under the name ``stage``. Raises SolverError when the solver reports a fault.
        """
        program = self.builder.program(cost)
        try:
            answer = solve_arrays(program, budget, stage=stage)
        except SolverError:  # seen where presolve empties a small program (HiGHS 1.16)
            answer = solve_arrays(program, budget, stage=stage, options={"presolve": "off"})
        return answer.outcome, answer.x
