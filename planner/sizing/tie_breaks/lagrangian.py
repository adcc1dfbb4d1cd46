"""A lower bound on total cost (moves, or RTT) over all host counts with as many hosts.

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

from planner.arrays import as_floats, totals
from planner.fleet import Floats, Ints
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget

_STALLED = 12  # rounds without a better bound before the step is halved


@dataclass(frozen=True)
class Priced:
    """Value of the relaxation at some prices.

    ``hosts`` (P,): the counts it would run. ``taken`` (S,): how often it serves each site. ``worth`` (P, most):
    value of the first, second, … host of each pool, not positive, inf beyond the pool's limit; no more than run in all.
    ``prices`` (S,): of each site.
    """

    bound: float
    hosts: Ints
    taken: Ints
    worth: Floats
    prices: Floats


class LagrangianRelaxation:
    """The relaxed problem; ``cost`` (E,) is that of a site on each eligible pair, ``hosts`` how many run."""

    def __init__(self, problem: Problem, cost: Floats, hosts: int) -> None:
        self.problem = problem
        by_pool = np.argsort(problem.pool, kind="stable")
        self.site, self.pool = problem.site[by_pool], problem.pool[by_pool]
        self.cost = cost[by_pool]
        self.load = problem.items[self.site]
        self.hosts = hosts
        largest = int(problem.max_hosts.max(initial=0))
        self.most = min(largest, max(1, hosts))

    def price(self, u: Floats) -> Priced:
        """Return the value of the relaxation at prices ``u`` (S,)."""
        problem = self.problem
        reduced = self.cost - u[self.site]
        wanted = np.flatnonzero(reduced < 0)
        per_cluster = reduced[wanted] / self.load[wanted]
        pool = self.pool[wanted]
        # One number for pool and price: pools come in order already, which the sort makes use of.
        apart = -2.0 * per_cluster.min(initial=-1.0)
        wanted = wanted[np.argsort(pool * apart + per_cluster, kind="stable")]
        load = self.load[wanted]
        filled = np.cumsum(load)
        first = np.searchsorted(pool, np.arange(problem.pools))
        before = np.concatenate(([0], filled))[first]
        # A site across the border of two hosts counts for the first: the bound can only become smaller.
        ahead = filled - load - before[pool]
        at = ahead // problem.caps[pool]
        counted = np.minimum(problem.max_hosts, self.most)
        fits = at < counted[pool]
        cell = (pool * self.most + at)[fits]
        cells = problem.pools * self.most
        worth = as_floats(totals(cell, reduced[wanted][fits], cells)).reshape(-1, self.most)
        number = np.arange(self.most)[None, :]
        worth[number >= problem.max_hosts[:, None]] = np.inf
        best = _least(worth.ravel(), self.hosts)
        running = np.bincount(best // self.most, minlength=problem.pools)
        hosts = running.astype(np.int64)
        on_running = at < hosts[pool]
        chosen = self.site[wanted[on_running]]
        taken = np.bincount(chosen, minlength=problem.sites).astype(np.int64)
        value = u.sum() + worth.ravel()[best].sum()
        return Priced(float(value), hosts, taken, worth, u)

    def climb(self, target: float, rounds: int, budget: SolveBudget) -> tuple[Priced, list[Ints]]:
        """Return the best value of ``rounds`` subgradient steps towards ``target``, and the counts met on the way."""
        u = np.full(self.problem.sites, np.inf)
        np.minimum.at(u, self.site, self.cost)
        best = now = self.price(u)
        step = 2.0
        stalled = 0
        met = {now.hosts.tobytes(): now.hosts}
        for _ in range(rounds):
            direction = 1.0 - now.taken
            square = float(direction @ direction)
            if square == 0.0 or target - now.bound <= 1e-9 * max(1.0, abs(target)) or budget.spent:
                break
            length = step * (target - now.bound) / square
            u = u + length * direction
            now = self.price(u)
            met[now.hosts.tobytes()] = now.hosts
            if now.bound > best.bound:
                best, stalled = now, 0
            else:
                stalled += 1
            if stalled == _STALLED:
                step = step / 2
                stalled = 0
                u = best.prices
                now = best
        return best, list(met.values())


def _least(values: Floats, number: int) -> Ints:
    """Return the positions of the ``number`` least of ``values``, in order; of equal ones those that come first."""
    if number >= len(values):
        return np.argsort(values, kind="stable")
    least = np.partition(values, number)[number]
    near = np.flatnonzero(values <= least)
    return near[np.argsort(values[near], kind="stable")][:number]
