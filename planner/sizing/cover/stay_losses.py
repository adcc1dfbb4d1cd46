"""Rows of `stay_with_standbys` that keep room for every loss, with the sets and data that are named there.

Against the loss of hubs or zones l, L_q the clusters at home in pool q:
    (1) sum k_c (x_cpq + y_cpq) over homes p in l + L_q <= R_q n_q
Against the loss of a host j of pool p, a_jq the clusters that live on j with standby in q, and z_pk whether k hosts of
pool p run, with s_pqk clusters at home in p and standby in q while that is so:
    (2) sum_j in p a_jq = sum_c k_c (x_cpq + y_cpq), and a_jq >= sum k_c y_cpq over the classes of j
    (3) sum_q a_jq <= C_p r_j
    (4) a_jq + L_q <= R_q n_q; for q = p without the clusters of j itself, on n_p - r_j hosts
    (5) n_p = sum_k k z_pk, sum_k z_pk = 1, sum_q s_pqk <= C_p k z_pk, sum_c k_c (x_cpq + y_cpq) = sum_k s_pqk
    (6) L_q + sum_k s_pqk / k <= R_q n_q, and s_qqk / (k - 1) where p = q
(6) follows from (4) for whole hosts, and makes the relaxation stronger, see `host_levels`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.arrays import indices, int_zeros, inverse, minus_ones
from planner.fleet import Ints
from planner.sizing.cover.host_levels import Levels, Running
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.room_for_losses import CoveredHomes, add_room_for_losses
from planner.sizing.solvers.model_builder import Loads, ModelBuilder, Terms, add_room


@dataclass(frozen=True)
class Homes:
    """Columns ``x`` (X,): their ``home`` and ``standby`` pools, the host ``on`` which they stay, clusters of a unit.

    -1 for none in ``standby`` and ``on``.
    """

    home: Ints
    standby: Ints
    on: Ints
    clusters: Ints
    x: Ints


def add_pool_losses(built: ModelBuilder, ground: Ground, homes: Homes, n: Ints) -> None:
    """Add (1); ``n`` (P,) are the columns of hosts."""
    at_home = Loads(homes.home, homes.x, homes.clusters)
    followed = np.flatnonzero(homes.standby >= 0)
    send = Loads(homes.standby, homes.x, homes.clusters).some(followed)
    standbys = CoveredHomes(homes.home[followed], send)
    add_room_for_losses(built, ground.losses.pools, at_home, standbys, n, ground.room)


class HostLosses:
    """Adds (2) to (6); ``running``: the columns n (P,) and r (J,), and the pool of each host (J,).

    ``levels`` are the columns z. ``host``, ``standby`` and ``a`` (A,): hosts, pools of standbys, and the columns a.
    """

    def __init__(self, built: ModelBuilder, ground: Ground, homes: Homes, running: tuple[Ints, Ints, Ints]) -> None:
        self.built, self.homes = built, homes
        n, self.r, self.pool_of_host = running
        wide = len(n) + 1
        ways = homes.home * wide + homes.standby + 1
        ways, self._way = np.unique(ways, return_inverse=True)
        self._lost = ways // wide
        self._to = ways % wide - 1
        load = built.block(len(n))
        self.running = Running(n, load, ground.problem.caps, ground.room)
        at_home: Terms = homes.home, homes.x, homes.clusters
        built.define(self.running.load, [at_home])
        self._single_hosts()
        self._losses()
        listed = np.bincount(self.pool_of_host, minlength=len(n))
        most = np.minimum(ground.problem.max_hosts, listed)
        self._levels = Levels.between(built, int_zeros(len(n)), most)
        self._levels.add_counts(built, n)
        self._shared()

    @property
    def levels(self) -> Ints:
        """The columns z."""
        return self._levels.z

    def _single_hosts(self) -> None:
        """Add (2) and (3)."""
        built = self.built
        homes = self.homes
        ways = len(self._lost)
        of_pool = self.pool_of_host[:, None] == self._lost
        self.host, way = np.nonzero(of_pool)
        self.standby = self._to[way]
        self.a = built.block(len(way))
        moving: Terms = self._way, homes.x, -homes.clusters
        built.equal([(way, self.a, 1.0), moving], ways)
        number = minus_ones((len(self.r), ways))
        number[self.host, way] = indices(way)
        held = np.flatnonzero(homes.on >= 0)
        on_host = number[homes.on[held], self._way[held]]
        stay: Terms = on_host, homes.x[held], -homes.clusters[held]
        living: Terms = indices(way), self.a, 1.0
        built.above([living, stay], len(way))
        caps = self.running.caps[self.pool_of_host]
        carried = Loads(self.host, self.a, np.ones(len(way)))
        add_room(built, caps, self.r, [carried])

    def _losses(self) -> None:
        """Add (4)."""
        running = self.running
        away = np.flatnonzero(self.standby >= 0)
        to = self.standby[away]
        host = self.host[away]
        every = indices(away)
        sent: Terms = every, self.a[away], 1.0
        living: Terms = every, running.load[to], 1.0
        room: Terms = every, running.hosts[to], -running.room[to]
        same = np.flatnonzero(to == self.pool_of_host[host])
        row_of_host = minus_ones(len(self.r))
        row_of_host[host[same]] = same
        row = row_of_host[self.host]
        mine = np.flatnonzero(row >= 0)
        gone: Terms = row[mine], self.a[mine], -1.0
        host_itself = self.r[host[same]]
        without: Terms = same, host_itself, running.room[to[same]]
        self.built.below([sent, living, room, gone, without], len(away))

    def _shared(self) -> None:
        """Add the rest of (5), and (6)."""
        homes = self.homes
        use = np.flatnonzero(self._to >= 0)
        row = inverse(use, len(self._to))[self._way]
        behind = np.flatnonzero(row >= 0)
        flows = Loads(row, homes.x, homes.clusters).some(behind)
        lost, to = self._lost[use], self._to[use]
        self._levels.add_losses(self.built, lost, to, flows, self.running)
