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

import numpy as np

from planner.arrays import indices, int_zeros, minus_ones, places
from planner.fleet import Bools, Ints
from planner.sizing.cover.primal_search.ground import Ground

NOWHERE = -1
_VOID = -(10**9)  # clusters: so much room that a standby is never in the way


class State:
    """Homes and standbys of all sites on the hosts that run, M of them; ``pool`` (M,) is that of each host.

    ``home``, ``standby`` (S,): hosts by number, or -1. ``load`` (M,) clusters at home; ``extra`` (losses + 2, M) what
    each loss sends to each host. The last but one row is the ordinary day, the last one is for no loss at all.
    """

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self.pool = int_zeros(0)
        self.home, self.standby = minus_ones((2, ground.problem.sites))
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
        last = len(self.extra) - 1
        return np.where(rows < 0, last, rows)

    def open(self, p: int) -> int:
        """Run one more host of pool ``p``; return its number."""
        m = self.hosts
        self.pool = np.append(self.pool, p)
        self.load = np.append(self.load, 0)
        self.carried = np.append(self.carried, 0.0)
        ground = self.ground
        of_host = int_zeros(len(self.extra))
        of_host[-2] = ground.room[p] - ground.problem.caps[p]
        of_host[-1] = _VOID
        self.extra = np.column_stack((self.extra, of_host))
        if self.ground.by_host:
            self.extra = np.insert(self.extra, m, 0, axis=0)
        self._table = None
        return m

    def close(self, h: int) -> Ints:
        """Stop host ``h`` and return the sites that lose their home or standby by that; hosts after it move up."""
        hit = self.users(h)
        for s in hit.tolist():
            self.take_out(s)
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
        self.home[s] = home
        self.standby[s] = standby
        self._count(s, 1)

    def take_out(self, s: int) -> None:
        """Let site ``s`` be nowhere."""
        if self.home[s] != NOWHERE:
            self._count(s, -1)
            self.home[s] = self.standby[s] = NOWHERE

    def _count(self, s: int, sign: int) -> None:
        ground = self.ground
        home = self.home[[s]]
        standby = self.standby[s]
        clusters = sign * int(ground.problem.clusters[s])
        self.load[home] += clusters
        self.carried[home] += sign * ground.weights[s]
        limits = ground.limits_of[self.pool[home]]
        brought = ground.brings[limits, s]
        self.used[limits] += sign * brought
        if standby != NOWHERE:
            self.extra[self.lost_with(home), standby] += clusters
            self.extra[-1, standby] = _VOID

    def over(self) -> Ints:
        """Return the clusters above its room for each loss and host, the ordinary day included, (losses + 2, M)."""
        carried = self.load + self.extra
        over: Ints = np.maximum(0, carried - self.room)
        return over

    def peak(self) -> Ints:
        """Return the most clusters that one loss sends to each host, shape (M,)."""
        peak: Ints = self.extra[:-2].max(axis=0, initial=0)
        return peak

    def at_home(self, host: int) -> Ints:
        """Return the sites that live on ``host``."""
        return np.flatnonzero(self.home == host)

    def users(self, host: int) -> Ints:
        """Return the sites that live on ``host`` or rely on it."""
        uses = (self.home == host) | (self.standby == host)
        return np.flatnonzero(uses)

    def may_follow(self, homes: Ints, standbys: Ints) -> Bools:
        """Say which of the hosts ``standbys`` may stand by for those of the same place in ``homes``."""
        first, second = self.pool[homes], self.pool[standbys]
        follows = self.ground.follows[first, second]
        may: Bools = follows & (homes != standbys)
        return may

    def relying_on(self, host: int, loss: int) -> Ints:
        """Return the sites that the loss of that row of ``extra`` sends to ``host``."""
        behind = np.flatnonzero(self.standby == host)
        lost = self.lost_with(self.home[behind])
        sent: Ints = behind[(lost == loss).any(axis=1)]
        return sent

    def counted_in(self, limit: int) -> Ints:
        """Return the sites at home that bring something to a limit on a hub or zone."""
        inside = (self.ground.limits_of == limit).any(axis=1)
        bringing = self.ground.brings[limit] > 0
        placed = np.flatnonzero(bringing & (self.home != NOWHERE))
        pools = self.pool[self.home[placed]]
        counted: Ints = placed[inside[pools]]
        return counted

    def violation(self) -> float:
        """Return by how much the constraints (1) to (4) are broken in all; 0 for a plan that may stand."""
        over = self.over().sum()
        beyond = np.maximum(0.0, self.used - self.ground.most)
        heavy = np.maximum(0.0, self.carried - self.ground.host_weight)
        return float(over + beyond.sum() + heavy.sum())

    def candidates(self, sites: Ints) -> tuple[Ints, Ints]:
        """Return the running hosts that each of ``sites`` (n,) may use, and the pairs, (n, c), filled up with -1."""
        pools, pairs = self.ground.pools_of
        of_pools = self._hosts_of()[pools[sites]]  # (n, D, most of a pool)
        eligible = pools[sites][:, :, None] >= 0
        by_pool = np.where(eligible, of_pools, NOWHERE)
        hosts = by_pool.reshape(len(sites), -1)
        of_hosts = np.repeat(pairs[sites], by_pool.shape[2], axis=1)
        runs = hosts >= 0
        pair = np.where(runs, of_hosts, -1)
        most = int(runs.sum(axis=1).max(initial=0))
        if most == hosts.shape[1]:
            return hosts, pair
        first = np.argsort(~runs, axis=1, kind="stable")[:, :most]
        by_site = indices(sites)[:, None]
        return hosts[by_site, first], pair[by_site, first]

    def hosts_of(self, p: int) -> Ints:
        """Return the running hosts of pool ``p``."""
        row = self._hosts_of()[p]
        hosts: Ints = row[row >= 0]
        return hosts

    def _hosts_of(self) -> Ints:
        """Return the running hosts of each pool, shape (P, most of them), filled up with -1."""
        if self._table is None:
            counts = self.count()
            order = np.argsort(self.pool, kind="stable")
            pool = self.pool[order]
            most = int(counts.max(initial=0))
            self._table = minus_ones((len(counts), most))
            self._table[pool, places(pool)] = order
        return self._table


@dataclass(frozen=True)
class Found:
    """A plan host by host in which nothing is broken. ``bare`` (S,): sites that may do without a standby there."""

    state: State
    bare: Bools
