"""Models that are written with PuLP, solved by HiGHS on one thread."""

from __future__ import annotations

from typing import Any

from planner.silence import silenced
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.highs import _outcome
from planner.sizing.solvers.pulp_models import _highs


def solve_model(model: Any, budget: SolveBudget) -> Outcome:
    """Solve a PuLP minimisation model in place and say how it ended, by what HiGHS itself says."""
    if budget.spent:
        return Outcome("unsolved", "no time left")
    with silenced():
        model.solve(_highs(budget, ""))
    return _outcome(model.solverModel)
