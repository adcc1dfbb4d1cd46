"""Where one host at a hub takes everybody: the location set covering model of spopt, if that is installed."""

from __future__ import annotations

import warnings

import numpy as np

from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget
from tests.benchmarks.engines.answer import SKIPPED, Answer
from tests.benchmarks.engines.solved_pulp import solve_model


def solve_set_covering(problem: Problem, seconds: float) -> Answer:
    """Return the answer of `spopt.locate.LSCP`, solved by HiGHS; ValueError where caps or limits on hosts bind."""
    budget = SolveBudget(seconds=seconds)
    if (problem.caps < problem.clusters.sum()).any() or (problem.max_hosts != 1).any():
        raise ValueError("location set covering knows no caps: every pool must be one host that takes all")
    try:
        from spopt.locate import LSCP
    except ImportError:
        return Answer(note=f"{SKIPPED} spopt is not installed")
    # spopt has one service radius, sites have budgets of their own: 0 where eligible, 1 elsewhere.
    out_of_reach = np.ones((problem.sites, problem.pools))
    out_of_reach[problem.site, problem.pool] = 0.0
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # it is written for PuLP before 3.3
            model = LSCP.from_cost_matrix(out_of_reach, 0.5).problem
    except (AttributeError, TypeError) as error:
        return Answer(note=f"{SKIPPED} spopt does not run on this version of PuLP ({error})")
    outcome = solve_model(model, budget)
    if not outcome.has_solution:
        return Answer(bound=outcome.bound, note=f"no plan: {outcome.word}")
    value = float(round(outcome.objective))
    return Answer(value, min(value, float(np.ceil(outcome.bound - 1e-6))), outcome.state == "optimal")
