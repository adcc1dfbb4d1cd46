"""A sharper lower bound on a later aim, by branch and bound on the whole location model; for moderate fleets.

    minimise   sum c_ip x_ip
    subject to sum_p x_ip = 1, sum_i k_i x_ip <= C_p n_p, x_ip <= n_p, sum_p n_p = N, n_p <= M_p, n whole

x_ip <= n_p follows from the rest but makes the linear relaxation far stronger (K. Holmberg, M. Ronnqvist,
D. Yuan, European J. Operational Research 113 (1999) 544-559, use it for the single-source problem).
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from planner.fleet import Floats
from planner.sizing.problem import Problem
from planner.sizing.solver import Effort, LinearProgram, solve_arrays

_MOST_PAIRS = 40_000  # beyond, the relaxation alone takes longer than people wait
_SECONDS = 27.0


def strong_bound(problem: Problem, cost: Floats, hosts: int, effort: Effort) -> float:
    """Return a lower bound on total ``cost`` (E,) with ``hosts`` hosts; 0 where the fleet is too large for it."""
    pairs, pools, sites = len(problem.pool), problem.pools, problem.sites
    if pairs > _MOST_PAIRS or effort.spent:
        return 0.0
    pair, pool = np.arange(pairs), np.arange(pools)
    row = np.concatenate((problem.site, sites + problem.pool, sites + pool, np.full(pools, sites + pools)))
    column = np.concatenate((pools + pair, pools + pair, pool, pool))
    value = np.concatenate((np.ones(pairs), problem.items[problem.site], -problem.caps, np.ones(pools)))
    coupled = sites + pools + 1 + pair
    row = np.concatenate((row, coupled, coupled))
    column = np.concatenate((column, pools + pair, problem.pool))
    value = np.concatenate((value, np.ones(pairs), -np.ones(pairs)))
    shape = (sites + pools + 1 + pairs, pools + pairs)
    unbounded = np.full(pools, -np.inf), np.full(pairs, -np.inf)
    program = LinearProgram(
        cost=np.concatenate((np.zeros(pools), cost)),
        upper=np.concatenate((problem.max_hosts, np.ones(pairs))).astype(np.float64),
        matrix=sp.csc_array(sp.coo_array((value.astype(np.float64), (row, column)), shape=shape)),
        row_lower=np.concatenate((np.ones(sites), unbounded[0], [hosts], unbounded[1])),
        row_upper=np.concatenate((np.ones(sites), np.zeros(pools), [hosts], np.zeros(pairs))),
        whole=np.arange(pools + pairs) < pools,
    )
    bound = solve_arrays(program, effort.within(_SECONDS)).outcome.bound
    return bound if np.isfinite(bound) else 0.0
