"""The straight model of `arrays_straight`, written with PuLP the way its manual shows."""

from __future__ import annotations

import numpy as np
import pulp

from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget
from tests.benchmarks.engines.answer import Answer, straight_answer
from tests.benchmarks.engines.solved_pulp import solve_model


def solve_pulp_straight(problem: Problem, seconds: float) -> Answer:
    """Return the answer of PuLP and HiGHS; building the model counts towards ``seconds``."""
    budget = SolveBudget(seconds=seconds)
    pairs = list(zip(problem.site.tolist(), problem.pool.tolist(), strict=True))
    clusters, caps = problem.clusters.tolist(), problem.caps.tolist()
    pools_of: list[list[int]] = [[] for _ in range(problem.sites)]
    sites_of: list[list[int]] = [[] for _ in range(problem.pools)]
    for site, pool in pairs:
        pools_of[site].append(pool)
        sites_of[pool].append(site)

    # PuLP 3.3 and 4.x agree on these calls; variables by position, as PuLP mangles names.
    model = pulp.LpProblem("hosts", pulp.LpMinimize)
    n = [model.add_variable(f"n{p}", 0, most, cat="Integer") for p, most in enumerate(problem.max_hosts.tolist())]
    x = {(s, p): model.add_variable(f"x{s}_{p}", 0, 1, cat="Integer") for s, p in pairs}
    if problem.objective == "cost":
        price, cost = problem.host_cost.tolist(), problem.pair_cost.tolist()
        of_pairs = [g * x[pair] for g, pair in zip(cost, pairs, strict=True)]
        model.setObjective(pulp.lpSum([h * one for h, one in zip(price, n, strict=True)] + of_pairs))
    else:
        model.setObjective(pulp.lpSum(n))
    for s, pools in enumerate(pools_of):
        model.addConstraint(pulp.lpSum(x[s, p] for p in pools) == 1, name=f"site{s}")
    for p, sites in enumerate(sites_of):
        load = pulp.lpSum(clusters[s] * x[s, p] for s in sites)
        model.addConstraint(load <= caps[p] * n[p], name=f"pool{p}")

    outcome = solve_model(model, budget)
    if not outcome.has_solution:
        return Answer(bound=outcome.bound, note=f"no plan: {outcome.word}")
    hosts = np.array([round(one.value()) for one in n], dtype=np.int64)
    used = np.flatnonzero([x[pair].value() > 0.5 for pair in pairs])
    return straight_answer(problem, hosts, used, outcome.bound, proven=outcome.state == "optimal")
