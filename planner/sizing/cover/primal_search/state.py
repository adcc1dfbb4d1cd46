"""A plan under way, host by host: who lives where, who stands by, and what that asks of every host.

Sets and data as in `instance.problem`; hosts j of pool p(j), losses l. Constraints, for every host g that runs:
    (1) sum of k_i over sites i at home on g <= C_g
    (2) the same + sum of k_i over sites i with standby g whose home goes down with l <= R_g, for every loss l
    (3) sum of b_i over sites i at home in the pools of a limit <= B for every limit on a hub or zone
    (4) sum of w_i over sites i at home on g <= W where the weight on a host is limited
(1) is kept as a loss that hits nobody and leaves R_g - C_g less room, (4) as a limit for each host.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from planner.arrays import falses, int_zeros, marking_rows
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.instance.problem import Problem

NOWHERE = -1
_VOID = -(10**9)  # clusters: so much room that a standby is never in the way


@dataclass(frozen=True)
class Ground:
    """What does not change while a plan is made.

    ``losses`` is None where no loss has to be survived. ``losses_of`` (P, W): the losses that hit each pool, filled up
    with one that hits nobody; not used against the loss of a host, where every host is a loss of its own. ``limits_of``
    (P, V): the limits on each pool's hub and zones, filled up with one that never binds.
    """

    problem: Problem
    losses: Losses | None

    @cached_property
    def room(self) -> Ints:
        """Clusters that a host of each pool may carry while another is lost, shape (P,)."""
        return self.problem.caps if self.losses is None else self.losses.room

    @property
    def by_host(self) -> bool:
        """Whether every host is a loss of its own."""
        return self.losses is not None and self.losses.kind == "host"

    @cached_property
    def shared(self) -> int:
        """Number of losses that are not those of single hosts."""
        if self.losses is None or self.by_host:
            return 0
        return len(self.losses.pools)

    @cached_property
    def losses_of(self) -> Ints:
        """Losses that hit each pool, shape (P, W), filled up with -1."""
        if self.losses is None or self.by_host:
            return int_zeros((self.problem.pools, 0))
        return marking_rows(self.losses.pools)

    @cached_property
    def follows(self) -> Bools:
        """Whether a host of the second pool may stand by for one of the first, shape (P, P)."""
        if self.losses is None:
            return falses((self.problem.pools, self.problem.pools))
        return self.losses.follows

    @cached_property
    def coverable(self) -> Bools:
        """Sites that can have a standby, were there room, shape (S,)."""
        if self.losses is None:
            return falses(self.problem.sites)
        problem = self.problem
        return self.losses.coverable_sites(problem)

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
        rows = [problem.amounts[limit.measure] * self.scale(limit.measure) for limit in problem.limits]
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
        degree = np.diff(problem.indptr)
        wide = int(degree.max(initial=0))
        offset = np.arange(wide)
        inside = offset[None, :] < degree[:, None]
        pair = np.where(inside, problem.indptr[:-1, None] + offset[None, :], -1)
        return np.where(inside, problem.pool[pair], -1) if len(problem.pool) else pair, pair


class State:
    """Homes and standbys of all sites on the hosts that run, M of them; ``pool`` (M,) is that of each host.

    ``home``, ``standby`` (S,): hosts by number, or -1. ``load`` (M,) clusters at home; ``extra`` (losses + 2, M) what
    each loss sends to each host. The last but one row is the ordinary day, the last one is for no loss at all.
    """

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self.pool = int_zeros(0)
        self.home = np.full(ground.problem.sites, NOWHERE, dtype=np.int64)
        self.standby = np.full(ground.problem.sites, NOWHERE, dtype=np.int64)
        self.load = int_zeros(0)
        self.carried = np.zeros(0)
        self.extra = int_zeros((ground.shared + 2, 0))
        self.used = np.zeros(len(ground.most))
        self._table: Ints | None = None

    def copy(self) -> State:
        """Return a state that changes by itself."""
        other = copy.copy(self)
        for name in ("pool", "home", "standby", "load", "carried", "extra", "used"):
            setattr(other, name, getattr(self, name).copy())
        return other

    @property
    def hosts(self) -> int:
        """Number of hosts that run."""
        return len(self.pool)

    @property
    def room(self) -> Ints:
        """Clusters that each host may carry during a loss, shape (M,)."""
        return self.ground.room[self.pool]

    def count(self) -> Ints:
        """Return the hosts that run in each pool, shape (P,)."""
        return np.bincount(self.pool, minlength=self.ground.problem.pools)

    def lost_with(self, hosts: Ints) -> Ints:
        """Return the rows of ``extra`` of the losses that hit each of ``hosts`` (n,), shape (n, W)."""
        if self.ground.by_host:
            return hosts[..., None]
        rows = self.ground.losses_of[self.pool[hosts]]
        return np.where(rows < 0, len(self.extra) - 1, rows)

    def open(self, p: int) -> int:
        """Run one more host of pool ``p``; return its number."""
        ground, m = self.ground, self.hosts
        self.pool = np.append(self.pool, p)
        self.load = np.append(self.load, 0)
        self.carried = np.append(self.carried, 0.0)
        column = int_zeros((len(self.extra), 1))
        column[-2] = ground.room[p] - ground.problem.caps[p]
        column[-1] = _VOID
        self.extra = np.hstack((self.extra, column))
        if ground.by_host:
            self.extra = np.insert(self.extra, m, 0, axis=0)
        self._table = None
        return m

    def close(self, h: int) -> Ints:
        """Stop host ``h`` and return the sites that lose their home or standby by that; hosts after it move up."""
        hit = np.flatnonzero((self.home == h) | (self.standby == h))
        for s in hit:
            self.take_out(int(s))
        for name in ("pool", "load", "carried"):
            setattr(self, name, np.delete(getattr(self, name), h))
        self.extra = np.delete(self.extra, h, axis=1)
        if self.ground.by_host:
            self.extra = np.delete(self.extra, h, axis=0)
        for numbers in (self.home, self.standby):
            numbers[numbers > h] -= 1
        self._table = None
        return hit

    def close_idle(self) -> None:
        """Stop the hosts that carry nobody and stand by for nobody."""
        used = np.union1d(self.home, self.standby)
        for h in np.setdiff1d(np.arange(self.hosts), used)[::-1].tolist():
            self.close(h)

    def put(self, s: int, home: int, standby: int) -> None:
        """Let site ``s``, which is nowhere, live on ``home`` with ``standby`` (-1 for none)."""
        self.home[s], self.standby[s] = home, standby
        self._count(s, 1)

    def take_out(self, s: int) -> None:
        """Let site ``s`` be nowhere."""
        if self.home[s] != NOWHERE:
            self._count(s, -1)
            self.home[s] = self.standby[s] = NOWHERE

    def _count(self, s: int, sign: int) -> None:
        ground, home, standby = self.ground, self.home[s], self.standby[s]
        clusters = sign * int(ground.problem.clusters[s])
        self.load[home] += clusters
        self.carried[home] += sign * ground.weights[s]
        limits = ground.limits_of[self.pool[home]]
        self.used[limits] += sign * ground.brings[limits, s]
        if standby != NOWHERE:
            self.extra[self.lost_with(np.array([home]))[0], standby] += clusters
            self.extra[-1, standby] = _VOID

    def over(self) -> Ints:
        """Return the clusters above its room for each loss and host, the ordinary day included, (losses + 2, M)."""
        over: Ints = np.maximum(0, self.load + self.extra - self.room)
        return over

    def peak(self) -> Ints:
        """Return the most clusters that one loss sends to each host, shape (M,)."""
        peak: Ints = self.extra[:-2].max(axis=0, initial=0)
        return peak

    def relying_on(self, host: int, loss: int) -> Ints:
        """Return the sites that the loss of that row of ``extra`` sends to ``host``."""
        behind = np.flatnonzero(self.standby == host)
        sent: Ints = behind[(self.lost_with(self.home[behind]) == loss).any(axis=1)]
        return sent

    def counted_in(self, limit: int) -> Ints:
        """Return the sites at home that bring something to a limit on a hub or zone."""
        inside = (self.ground.limits_of == limit).any(axis=1)
        placed = np.flatnonzero((self.home != NOWHERE) & (self.ground.brings[limit] > 0))
        counted: Ints = placed[inside[self.pool[self.home[placed]]]]
        return counted

    def violation(self) -> float:
        """Return by how much the constraints (1) to (4) are broken in all; 0 for a plan that may stand."""
        limits = np.maximum(0.0, self.used - self.ground.most).sum()
        weight = np.maximum(0.0, self.carried - self.ground.host_weight).sum()
        return float(self.over().sum() + limits + weight)

    def candidates(self, sites: Ints) -> tuple[Ints, Ints]:
        """Return the running hosts that each of ``sites`` (n,) may use, and the pairs, (n, c), filled up with -1."""
        pools, pairs = (table[sites] for table in self.ground.pools_of)
        hosts_of = self._hosts_of()
        hosts = np.where(pools[:, :, None] < 0, NOWHERE, hosts_of[pools])
        pair = np.where(hosts < 0, -1, pairs[:, :, None])
        flat, pair = hosts.reshape(len(sites), -1), pair.reshape(len(sites), -1)
        used = int((flat >= 0).sum(axis=1).max(initial=0))
        if used == flat.shape[1]:
            return flat, pair
        order = np.argsort(flat < 0, axis=1, kind="stable")[:, :used]
        return np.take_along_axis(flat, order, axis=1), np.take_along_axis(pair, order, axis=1)

    def _hosts_of(self) -> Ints:
        """Return the running hosts of each pool, shape (P, most of them), filled up with -1."""
        if self._table is None:
            counts = self.count()
            order = np.argsort(self.pool, kind="stable")
            first = np.concatenate(([0], np.cumsum(counts)[:-1]))
            offset = np.arange(len(order)) - first[self.pool[order]]
            table = np.full((len(counts), int(counts.max(initial=0))), NOWHERE, dtype=np.int64)
            table[self.pool[order], offset] = order
            self._table = table
        return self._table
