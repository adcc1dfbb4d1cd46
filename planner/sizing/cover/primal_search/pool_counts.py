"""Cheap host counts that sites could live on if they were divisible: a dive, and hosts dropped one by one.

A count is judged by what the linear program of `cover.primal_search.pool_relaxation` lacks there. Its duals say where
a host more would help most.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from planner.fleet import Ints
from planner.sizing.cover.primal_search.pool_relaxation import PoolProgram, Shares
from planner.sizing.solution.prices import Prices
from planner.sizing.solvers.budget import SolveBudget

_EPS = 1e-6
_MOST_ADDED = 20  # hosts, to begin with counts that lack nothing
_WHOLE = 1e-3  # of a host; what is so near to a whole number is one
_DIVES = 3  # the larger half of the fractions is rounded up twice, then all of them


def cheaper_counts(
    program: PoolProgram, hosts: Ints, prices: Prices, drops: int | None, budget: SolveBudget
) -> Iterator[Ints]:
    """Yield counts (P,) that lack nothing, each cheaper than the one before; ``hosts`` (P,) begin.

    Where they lack something, hosts are added first. ``drops``: of single hosts that are tried in vain, None for all.
    """
    hosts = hosts.copy()
    shares = program.solve(hosts, budget)
    for _ in range(_MOST_ADDED):
        if shares is None or shares.lacking <= _EPS:
            break
        worth = np.where(program.ground.problem.may_grow(hosts), shares.worth / prices.next(hosts), 0.0)
        if worth.max(initial=0.0) <= 0:
            return
        hosts[int(worth.argmax())] += 1
        shares = program.solve(hosts, budget)
    if shares is None or shares.lacking > _EPS:
        return
    found: tuple[Ints, Shares] | None = hosts, shares
    while found is not None:
        hosts, shares = found
        yield hosts
        running = np.flatnonzero(hosts)
        use = shares.load[running] / hosts[running] / prices.last(hosts)[running]
        least_used = running[np.argsort(use, kind="stable")[:drops]]
        found = _dropped(program, hosts, least_used, budget)


def _dropped(program: PoolProgram, hosts: Ints, pools: Ints, budget: SolveBudget) -> tuple[Ints, Shares] | None:
    """Return counts that lack nothing, with a host less than ``hosts`` (P,) in the first of ``pools`` (n,); or None."""
    for p in pools.tolist():
        fewer = hosts.copy()
        fewer[p] -= 1
        shares = program.solve(fewer, budget)
        if shares is None:
            return None
        if shares.lacking <= _EPS:
            return fewer, shares
    return None


def dived_counts(program: PoolProgram, hosts: Ints, prices: Prices, budget: SolveBudget) -> Ints | None:
    """Return cheap counts by a dive: the largest fractions are rounded up, the rest is solved again.

    ``hosts`` (P,) begin; None where time ends before.
    """
    most = program.ground.problem.max_hosts.astype(np.float64)
    least, near = np.zeros_like(most), hosts
    for _ in range(_DIVES):
        counts = program.fewest(near, prices.last(hosts), least, most, budget)
        if counts is None:
            return None
        up = np.minimum(np.ceil(counts - _WHOLE), most)
        near = up.astype(np.int64)
        fractions = np.flatnonzero(up - counts > _WHOLE)
        if not len(fractions):
            break
        ranked = fractions[np.argsort(up[fractions] - counts[fractions], kind="stable")]
        chosen = ranked[: -(-len(ranked) // 2)]
        least[chosen] = up[chosen]
    return near
