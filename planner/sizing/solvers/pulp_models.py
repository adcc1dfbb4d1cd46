"""Models built with PuLP, 3.3 and 4.x, solved by HiGHS."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.highs import _INTERRUPTIBLE, _interrupter, _outcome, _quiet


def linear(terms: Iterable[tuple[Any, float]]) -> Any:
    """Return the sum of variable times coefficient, in PuLP 3.3 and 4.x, without the cost of adding one by one."""
    import pulp

    return getattr(pulp.LpAffineExpression, "from_list", pulp.LpAffineExpression)(list(terms))


def solve_model(model: Any, budget: SolveBudget, stage: str = "") -> Outcome:
    """Solve a PuLP minimisation model in place and say how it ended; progress is told under the name ``stage``.

    Raises SolverError when the solver reports a fault.
    """
    if budget.spent:
        return Outcome("unsolved", "no time left")
    with _quiet():
        model.solve(_highs(budget, stage))
    return _outcome(model.solverModel)


def _highs(budget: SolveBudget, stage: str) -> Any:
    import pulp

    return pulp.HiGHS(
        msg=False,
        timeLimit=budget.left,
        gapRel=0.0,
        threads=1,
        random_seed=budget.seed,
        callbackTuple=(_interrupter(budget, stage), None),
        callbacksToActivate=list(_INTERRUPTIBLE),
    )
