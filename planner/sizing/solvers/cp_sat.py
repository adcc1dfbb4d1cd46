"""CP-SAT, the constraint programming solver of OR-Tools, for plans that integer programs do not find.

What it says of bounds is not used: it is the second solver with which `verify` counts again.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from typing import NamedTuple

import numpy as np
from ortools.sat.python import cp_model

from planner.fleet import Bools
from planner.sizing.solvers.budget import SolveBudget

_LOOK_SECONDS = 0.05


class Found(NamedTuple):
    """Which variables are true in the best solution, None where none was found, and whether there is none."""

    chosen: Bools | None
    impossible: bool


def solve_model(model: cp_model.CpModel, wanted: Sequence[cp_model.IntVar], work: float, budget: SolveBudget) -> Found:
    """Return what is found of the variables ``wanted`` (n,).

    ``work`` is in units of the solver that are about seconds, but do not depend on the machine.
    """
    solver = cp_model.CpSolver()
    parameters = solver.parameters
    parameters.max_deterministic_time = work
    parameters.num_workers = 1
    parameters.random_seed = budget.seed
    parameters.linearization_level = 0  # relaxations cost time here and tell nothing
    parameters.catch_sigint_signal = False
    # Beside this thread, which alone hears of Ctrl-C.
    with ThreadPoolExecutor(1) as beside:
        running = beside.submit(solver.solve, model)
        while not wait([running], _LOOK_SECONDS).done:
            if budget.spent:
                solver.stop_search()
    status = running.result()
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Found(None, impossible=status == cp_model.INFEASIBLE)
    chosen = np.array([solver.boolean_value(one) for one in wanted], dtype=np.bool_)
    return Found(chosen, impossible=False)
