"""The straight model as arrays.

n_p whole, 0..M_p, hosts of pool p; x_e binary for each eligible pair e of site and pool:

    minimise sum_p price_p n_p + sum_e g_e x_e
    (1) each site: sum x_e = 1
    (2) each pool: sum k_i x_e <= C_p n_p
    (3) x_e <= n_p, in the strong model: it follows from the rest, and where money is the objective the relaxation
        is some 20 % below the optimum without it
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import LinearProgram, solve_arrays
from tests.benchmarks.engines.answer import Answer, straight_answer


def solve_arrays_straight(problem: Problem, seconds: float, *, strong: bool = False) -> Answer:
    """Return the answer of HiGHS to the straight model, with (3) if ``strong``."""
    budget = SolveBudget(seconds=seconds)
    answer = solve_arrays(_program(problem, strong), budget)
    outcome = answer.outcome
    if not outcome.has_solution:
        return Answer(bound=outcome.bound, note=f"no plan: {outcome.word}")
    hosts = np.rint(answer.x[: problem.pools]).astype(np.int64)
    pairs = np.flatnonzero(answer.x[problem.pools :] > 0.5)
    return straight_answer(problem, hosts, pairs, outcome.bound, proven=outcome.state == "optimal")


def _program(problem: Problem, strong: bool) -> LinearProgram:
    pairs, money = len(problem.pool), problem.objective == "cost"
    each = np.arange(pairs)
    of_site = sp.csr_array((np.ones(pairs), (problem.site, each)), shape=(problem.sites, pairs))
    load = sp.csr_array((problem.clusters[problem.site], (problem.pool, each)), shape=(problem.pools, pairs))
    rows = [
        [sp.csr_array((problem.sites, problem.pools)), of_site],
        [sp.diags_array(-problem.caps.astype(np.float64)), load],
    ]
    if strong:
        of_pool = sp.csr_array((np.ones(pairs), (each, problem.pool)), shape=(pairs, problem.pools))
        rows.append([-of_pool, sp.eye_array(pairs)])
    at_most = np.zeros(problem.pools + (pairs if strong else 0))
    return LinearProgram(
        cost=np.concatenate(
            (problem.host_cost if money else np.ones(problem.pools), problem.pair_cost if money else np.zeros(pairs))
        ),
        upper=np.concatenate((problem.max_hosts, np.ones(pairs))),
        matrix=sp.csc_array(sp.block_array(rows)),
        row_lower=np.concatenate((np.ones(problem.sites), np.full(len(at_most), -np.inf))),
        row_upper=np.concatenate((np.ones(problem.sites), at_most)),
        whole=np.ones(problem.pools + pairs, dtype=np.bool_),
    )
