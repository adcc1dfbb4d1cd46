"""The small model over host counts given to CP-SAT: another solver than the one that sized the fleet."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
from ortools.sat.python import cp_model

from planner.verify.host_model import HostModel

SECONDS = 60.0

_LARGEST = 2**50  # of sums: whole numbers up to here are exact in floating point, in which bounds are reported


def bound_by_cp_sat(model: HostModel, seconds: float = SECONDS) -> Fraction:
    """Return a lower bound on the objective of ``model`` by CP-SAT, 0 where it has none after ``seconds``."""
    sums = model.room @ model.most if len(model.least) else np.zeros(1)
    if max((*sums, *model.most, *model.free, *model.least), default=0) > _LARGEST:
        return Fraction(0)
    # Money is counted in steps small enough not to matter, and rounded down, so that the bound stays one.
    dearest = Fraction(int((model.price * model.most).sum()), model.unit)
    steps = 1 if model.whole else max(1, int(_LARGEST / max(Fraction(1), dearest)))
    problem = cp_model.CpModel()
    terms = []
    hosts = [problem.new_int_var(0, most, "") for most in model.most]
    for n, most, free, price in zip(hosts, model.most, model.free, model.price, strict=True):
        paid = problem.new_int_var(0, max(0, most - free), "")
        problem.add(paid >= n - free)
        terms.append(price * steps // model.unit * paid)
    runs = [problem.new_bool_var("") for _ in hosts]
    for n, some, most in zip(hosts, runs, model.most, strict=True):
        problem.add(n <= most * some)
    for room, less, least in zip(model.room, model.less, model.least, strict=True):
        carried = cp_model.LinearExpr.weighted_sum(hosts, room.tolist())
        problem.add(carried - cp_model.LinearExpr.weighted_sum(runs, less.tolist()) >= least)
    problem.minimize(sum(terms))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(problem)
    bound = solver.best_objective_bound
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.UNKNOWN) or not math.isfinite(bound):
        return Fraction(0)
    return model.rounded(max(Fraction(0), Fraction(round(bound), steps)))
