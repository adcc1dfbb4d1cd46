"""The best host counts among the fewest: Lagrangian bound, and swaps of single hosts that a flow judges.

    minimise   sum c_ip x_ip
    subject to sum_p x_ip = 1, sum_i k_i x_ip <= C_p n_p, x_ip <= n_p, sum_p n_p = N, n_p <= M_p, n whole

Relaxing the first rows with prices u leaves, for each pool, the sites of most negative c_ip - u_i: the k-th host
of a pool takes the next C_p of them, so hosts are worth less and less and the N best are found by sorting. The
value is a lower bound for every u (M. L. Fisher, Management Science 27 (1981) 1-18); u climbs by subgradients
(M. Held, P. Wolfe, H. P. Crowder, Mathematical Programming 6 (1974) 62-88). It is the capacitated p-median
problem; see J. M. Mulvey, M. P. Beck, European J. Operational Research 18 (1984) 339-348.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.fleet import Floats, Ints
from planner.sizing.problem import Problem


@dataclass(frozen=True)
class Priced:
    """Value of the relaxation at some prices: the ``bound``, the hosts it would run (P,), and how often each site
    is taken (S,). ``worth`` lists, for each pool, the value of its first, second, ... host (not positive)."""

    bound: float
    hosts: Ints
    taken: Ints
    worth: Floats


class Relaxation:
    """The relaxed problem over the pairs of ``problem``, sorted by pool once."""

    def __init__(self, problem: Problem, cost: Floats, hosts: int) -> None:
        self.problem, self.hosts = problem, hosts
        order = np.argsort(problem.pool, kind="stable")
        self.site, self.pool = problem.site[order], problem.pool[order]
        self.cost, self.load = cost[order], problem.items[self.site]
        self.start = np.concatenate(([0], np.cumsum(np.bincount(self.pool, minlength=problem.pools))))
        self.most = int(problem.max_hosts.max(initial=0))

    def price(self, u: Floats) -> Priced:
        """Return the value of the relaxation at prices ``u`` (S,)."""
        problem = self.problem
        reduced = np.minimum(self.cost - u[self.site], 0.0)
        order = np.lexsort((reduced / self.load, self.pool))
        load = np.cumsum(self.load[order])
        before = np.where(self.start[:-1] > 0, load[np.maximum(self.start[:-1] - 1, 0)], 0)
        filled = load - before[self.pool[order]]
        # Host that each pair falls into; a site across the border counts to the first of the two, which can
        # only make the bound smaller.
        at = (filled - self.load[order]) // problem.caps[self.pool[order]]
        counted = (at < problem.max_hosts[self.pool[order]]) & (reduced[order] < 0)
        cell = self.pool[order][counted] * (self.most + 1) + at[counted]
        worth = np.bincount(cell, weights=reduced[order][counted], minlength=problem.pools * (self.most + 1))
        worth = worth.reshape(problem.pools, self.most + 1)[:, : self.most]
        worth[np.arange(self.most)[None, :] >= problem.max_hosts[:, None]] = np.inf
        best = np.argsort(worth, axis=None, kind="stable")[: self.hosts]
        hosts = np.bincount(best // max(self.most, 1), minlength=problem.pools)
        chosen = counted & (at < hosts[self.pool[order]])
        taken = np.bincount(self.site[order][chosen], minlength=problem.sites)
        value = float(u.sum() + worth.ravel()[best].sum())
        return Priced(value, hosts.astype(np.int64), taken.astype(np.int64), worth)
