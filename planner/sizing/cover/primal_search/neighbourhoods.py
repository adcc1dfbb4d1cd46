"""Cheaper host counts near those that are known: a few pools that share sites are counted anew, exactly.

Large neighbourhood search (P. Shaw, CP 1998, LNCS 1520, 417-431) over the program of `cover.host_levels`: the counts of
all other pools stay, and what the pools together cost has to fall.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from planner.fleet import Floats, Ints
from planner.sizing.cover.host_levels import Beside, Conditions, LevelProgram, Window
from planner.sizing.cover.primal_search.pool_relaxation import PoolProgram, Shares
from planner.sizing.solution.prices import Prices
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays

_FEWEST, _MOST = 5, 8  # pools at a time; one more after so many neighbourhoods in vain
_PATIENCE = 4
_FEWER, _MORE = 2, 1  # hosts of each of them
# Nodes of branch and bound, and cheaper counts after which it ends: the next ones are sooner found from those. Programs
# inside the solver's heuristics, and restarts, took most of the time where there are none.
_OPTIONS = {"mip_max_nodes": 60, "mip_max_improving_sols": 1, "mip_heuristic_effort": 0.0, "mip_allow_restart": False}
_EPS = 1e-6


@dataclass(frozen=True)
class Neighbourhoods:
    """What the search goes by; ``less``: by how much counts have to be cheaper."""

    program: PoolProgram
    prices: Prices
    conditions: Conditions
    less: float

    def cheaper(self, hosts: Ints, in_vain: int, rng: np.random.Generator, budget: SolveBudget) -> Ints | None:
        """Return counts (P,) near ``hosts`` (P,) that cost less, and which divisible sites can live on; or None.

        Each host keeps the program's slack free during a loss. The more neighbourhoods were looked at ``in_vain``, the
        larger this one is.
        """
        shares = self.program.solve(hosts, budget)
        more = in_vain // _PATIENCE
        size = more + int(rng.integers(_FEWEST, _MOST + 1))
        return self._anew(hosts, shares, self._some(size, rng), budget)

    @cached_property
    def _shared(self) -> Floats:
        """Return how many clusters may have one of two pools as home and the other as standby, shape (P, P)."""
        choices, pools = self.program, self.program.ground.problem.pools
        behind = choices.standby >= 0
        clusters = choices.classes.demand[choices.kind] * choices.classes.items[choices.kind]
        shared = np.zeros((pools, pools))
        np.add.at(shared, (choices.home[behind], choices.standby[behind]), clusters[behind])
        return shared + shared.T

    def _some(self, size: int, rng: np.random.Generator) -> Ints:
        """Return ``size`` pools that share sites with one of them, by chance."""
        pools = len(self._shared)
        near = self._shared[int(rng.integers(pools))] * rng.uniform(0.5, 1.5, pools)
        chosen: Ints = np.argsort(-near, kind="stable")[:size]
        return chosen

    def _anew(self, hosts: Ints, shares: Shares | None, pools: Ints, budget: SolveBudget) -> Ints | None:
        """Return counts that differ from ``hosts`` in ``pools`` and cost less, or None."""
        problem = self.program.ground.problem
        low, high = hosts.copy(), hosts.copy()
        low[pools] = np.maximum(0, hosts[pools] - _FEWER)
        high[pools] = np.minimum(problem.max_hosts[pools], hosts[pools] + _MORE)
        window = Window(low, high, self.prices.total(hosts) - self.less + _EPS)
        levels = LevelProgram(self.program, self.prices, window, self.program.slack, self._beside(hosts, shares, pools))
        levels.require(self.conditions)
        answer = solve_arrays(levels.program(), budget, options=_OPTIONS)
        return np.rint(levels.counts(answer.x)).astype(np.int64) if answer.outcome.has_solution else None

    def _beside(self, hosts: Ints, shares: Shares | None, pools: Ints) -> Beside | None:
        """Return what stays: classes of which no part is in ``pools``; None where all may move.

        The others may change to choices that have part in ``pools``: with all choices, few programs end in time.
        """
        program, problem = self.program, self.program.ground.problem
        if shares is None or problem.limits:
            return None
        inside = np.zeros(problem.pools + 1, dtype=np.bool_)  # the last for no standby
        inside[pools] = True
        near = inside[program.home] | inside[program.standby]
        chosen = shares.flow > _EPS
        moving = np.zeros(program.classes.count, dtype=np.bool_)
        moving[program.kind[near & chosen]] = True
        moving = moving[program.kind]
        clusters = np.where(moving, 0.0, shares.flow) * program.classes.items[program.kind]
        load = np.bincount(program.home, weights=clusters, minlength=problem.pools)
        sent = np.zeros((problem.pools, problem.pools))
        behind = program.standby >= 0
        np.add.at(sent, (program.home[behind], program.standby[behind]), clusters[behind])
        sent /= np.maximum(1, hosts[:, None] - np.eye(problem.pools, dtype=np.int64))
        open_ = moving & program.known & (near | chosen)
        return Beside(open_, load.astype(np.float64), sent)
