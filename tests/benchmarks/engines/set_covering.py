"""Where one host at a hub takes everybody: the location set covering model of spopt, if that is installed."""

from __future__ import annotations

import math

import numpy as np
import pulp

from planner.sizing.problem import Problem
from tests.benchmarks.engines.answer import Answer


class NotInstalledError(Exception):
    """An engine needs a library that is not there."""


def solve_set_covering(problem: Problem, seconds: float) -> Answer:
    """Return the answer of `spopt.locate.LSCP`; NotInstalledError without spopt, ValueError where caps or limits bind."""
    if (problem.caps < problem.clusters.sum()).any() or (problem.max_hosts != 1).any():
        raise ValueError("location set covering knows no caps: every pool must be one host that takes all")
    try:
        from spopt.locate import LSCP
    except ImportError as error:
        raise NotInstalledError("spopt is not installed") from error
    # spopt has one service radius, sites have budgets of their own: 0 where eligible, 1 elsewhere.
    out_of_reach = np.ones((problem.sites, problem.pools))
    out_of_reach[problem.site, problem.pool] = 0.0
    model = LSCP.from_cost_matrix(out_of_reach, 0.5)
    try:
        model.solve(pulp.HiGHS(msg=False, timeLimit=seconds), results=False)
    except RuntimeError as error:  # how spopt reports a solve that did not end optimal
        return Answer(note=f"no plan: {error}")
    value = float(sum(round(y.value()) for y in model.fac_vars))
    bound = model.problem.solverModel.getInfo().mip_dual_bound
    bound = float(math.ceil(bound - 1e-6))
    return Answer(value, min(bound, value), bound >= value)
