"""The straight model in CP-SAT: hosts of a pool as one whole number, a literal for each eligible pair.

Kept-together sites are not packed into single hosts, so there the value is a lower bound unless they happen to pack.
"""

from __future__ import annotations

import os

import numpy as np
from ortools.sat.python import cp_model

from planner.fleet import Floats
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget
from tests.benchmarks.engines.answer import Answer, straight_answer


def solve_cp_sat(problem: Problem, seconds: float) -> Answer:
    """Return the answer of CP-SAT with a worker for each core."""
    budget = SolveBudget(seconds=seconds)
    model = cp_model.CpModel()
    n = [model.new_int_var(0, most, "") for most in problem.max_hosts.tolist()]
    x = [model.new_bool_var("") for _ in range(len(problem.pool))]
    for first, end in zip(problem.indptr[:-1].tolist(), problem.indptr[1:].tolist(), strict=True):
        model.add_exactly_one(x[first:end])
    clusters = problem.clusters[problem.site]
    for p, cap in enumerate(problem.caps.tolist()):
        used = np.flatnonzero(problem.pool == p)
        load = cp_model.LinearExpr.weighted_sum([x[e] for e in used], clusters[used].tolist())
        model.add(load <= cap * n[p])
    scale = 1
    if problem.objective == "cost":
        scale = _scale(np.concatenate((problem.host_cost, problem.pair_cost)))
        whole = [np.rint(money * scale).astype(np.int64).tolist() for money in (problem.host_cost, problem.pair_cost)]
        model.minimize(cp_model.LinearExpr.weighted_sum([*n, *x], [*whole[0], *whole[1]]))
    else:
        model.minimize(sum(n))

    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = max(0.01, budget.left or 0.0)
    solver.parameters.num_workers = os.cpu_count() or 1
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Answer(note=f"no plan: {solver.status_name(status)}")
    hosts = np.array([solver.value(one) for one in n], dtype=np.int64)
    pairs = np.flatnonzero([solver.boolean_value(one) for one in x])
    proven = status == cp_model.OPTIMAL
    return straight_answer(problem, hosts, pairs, solver.best_objective_bound / scale, proven=proven)


def _scale(money: Floats) -> int:
    """Return the power of ten that makes ``money`` whole: CP-SAT knows only whole numbers. Six decimals count."""
    return next(
        (10**digits for digits in range(6) if np.allclose(money, np.round(money, digits), rtol=0, atol=1e-9)), 10**6
    )
