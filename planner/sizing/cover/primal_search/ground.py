"""What does not change while a plan is made: who may use and follow which pool, under which losses and limits."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from planner.arrays import indices, int_zeros, marking_rows, minus_ones, places
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.instance.problem import Problem


@dataclass(frozen=True)
class Ground:
    """What does not change while a plan is made.

    ``losses_of`` (P, W): the losses that hit each pool, filled up with one that hits nobody; not used against the loss
    of a host, where every host is a loss of its own. ``limits_of`` (P, V): the limits on each pool's hub and zones,
    filled up with one that never binds.
    """

    problem: Problem
    losses: Losses

    @property
    def room(self) -> Ints:
        """Clusters that a host of each pool may carry while another is lost, shape (P,)."""
        return self.losses.room

    @property
    def by_host(self) -> bool:
        """Whether every host is a loss of its own."""
        return self.losses.kind == "host"

    @cached_property
    def shared(self) -> int:
        """Number of losses that are not those of single hosts."""
        return 0 if self.by_host else len(self.losses.pools)

    @cached_property
    def losses_of(self) -> Ints:
        """Losses that hit each pool, shape (P, W), filled up with -1."""
        if self.by_host:
            return int_zeros((self.problem.pools, 0))
        return marking_rows(self.losses.pools)

    @property
    def follows(self) -> Bools:
        """Whether a host of the second pool may stand by for one of the first, shape (P, P)."""
        return self.losses.follows

    @cached_property
    def coverable(self) -> Bools:
        """Sites that can have a standby, were there room, shape (S,)."""
        return self.losses.coverable_sites(self.problem)

    @cached_property
    def limits_of(self) -> Ints:
        """Limits that each pool's homes count against, shape (P, V), filled up with -1."""
        problem = self.problem
        if not problem.limits:
            return int_zeros((problem.pools, 0))
        return marking_rows(np.array([limit.pools for limit in problem.limits]))

    @cached_property
    def brings(self) -> Floats:
        """What each site brings to each limit, in clusters of the mean site, shape (limits + 1, S); the last is 0."""
        problem = self.problem
        scaled = {measure: amount * self.scale(measure) for measure, amount in problem.amounts.items()}
        rows = [scaled[limit.measure] for limit in problem.limits]
        return np.array([*rows, np.zeros(problem.sites)])

    @cached_property
    def most(self) -> Floats:
        """What each limit allows in the unit of ``brings``, shape (limits + 1,); the last never binds."""
        limits = self.problem.limits
        most = [limit.most * self.scale(limit.measure) for limit in limits]
        return np.append(most, np.inf) * (1 + 1e-9)

    def scale(self, measure: str) -> float:
        """Return the factor that turns a measure into clusters of the mean site."""
        problem = self.problem
        total = float(problem.amounts[measure].sum())
        return float(problem.clusters.sum()) / total if total > 0 else 1.0

    @cached_property
    def weight_per_cluster(self) -> float:
        """Mean weight of a cluster; weights on hosts are counted in it."""
        clusters = max(1, int(self.problem.clusters.sum()))
        return max(1e-12, float(self.problem.weights.sum()) / clusters)

    @cached_property
    def weights(self) -> Floats:
        """Weight of each site in the unit of mean clusters, shape (S,)."""
        return self.problem.weights / self.weight_per_cluster

    @cached_property
    def host_weight(self) -> float:
        """Most weight on a host in the unit of ``weights``; inf for no limit."""
        most = self.problem.host_weight
        if most is None:
            return np.inf
        return most / self.weight_per_cluster * (1 + 1e-9)

    @cached_property
    def pools_of(self) -> tuple[Ints, Ints]:
        """Eligible pools of each site and their pairs, both (S, D), filled up with -1."""
        problem = self.problem
        choices = np.diff(problem.indptr)
        place = places(problem.site)
        pool, pair = minus_ones((2, problem.sites, int(choices.max(initial=0))))
        pool[problem.site, place] = problem.pool
        pair[problem.site, place] = indices(problem.pool)
        return pool, pair
