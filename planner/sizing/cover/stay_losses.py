"""Rows of `stay_program` that keep room for every loss, with the sets and data that are named there.

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

from planner.fleet import Floats, Ints
from planner.sizing.cover.primal_search.state import Ground
from planner.sizing.solvers.model_builder import ModelBuilder, Terms


@dataclass(frozen=True)
class Homes:
    """Columns ``x`` (X,): their ``home`` and ``standby`` pools, the host ``on`` which they stay, clusters of a unit.

    -1 for none in ``standby`` and ``on``.
    """

    home: Ints
    standby: Ints
    on: Ints
    clusters: Floats
    x: Ints


def add_pool_losses(built: ModelBuilder, ground: Ground, homes: Homes, n: Ints) -> None:
    """Add (1); ``n`` (P,) are the columns of hosts."""
    assert ground.losses is not None
    for hit in ground.losses.pools:
        sent = np.flatnonzero(hit[homes.home] & (homes.standby >= 0))
        asked, row = np.unique(homes.standby[sent], return_inverse=True)
        number = np.full(len(n), -1)
        number[asked] = np.arange(len(asked))
        there = np.flatnonzero(number[homes.home] >= 0)
        terms: list[Terms] = [
            (row, homes.x[sent], homes.clusters[sent]),
            (number[homes.home[there]], homes.x[there], homes.clusters[there]),
            (np.arange(len(asked)), n[asked], -ground.room[asked].astype(np.float64)),
        ]
        built.add(terms, len(asked), -np.inf, 0.0)


class HostLosses:
    """Adds (2) to (6); ``running``: the columns n (P,) and r (J,), and the pool of each host (J,).

    ``levels`` are the columns z. ``host``, ``standby`` and ``a`` (A,): hosts, pools of standbys, and the columns a.
    """

    def __init__(self, built: ModelBuilder, ground: Ground, homes: Homes, running: tuple[Ints, Ints, Ints]) -> None:
        self.built, self.homes, self.problem = built, homes, ground.problem
        self.n, self.r, self.pool_of_host = running
        self.room = ground.room.astype(np.float64)
        self.pools = np.arange(ground.problem.pools)
        wide = len(self.pools) + 1
        ways, self._way = np.unique(homes.home * wide + homes.standby + 1, return_inverse=True)
        self._lost, self._to = ways // wide, ways % wide - 1
        self.load = built.block(len(self.pools))
        built.add([(homes.home, homes.x, homes.clusters), (self.pools, self.load, -1.0)], len(self.pools), 0.0, 0.0)
        self._single_hosts()
        self._losses()
        self._level_columns()
        self._level_rows()

    def _single_hosts(self) -> None:
        """Add (2) and (3)."""
        built, homes, ways = self.built, self.homes, np.arange(len(self._lost))
        self.host, way = np.nonzero(self.pool_of_host[:, None] == self._lost)
        self.standby = self._to[way]
        self.a = built.block(len(way))
        built.add([(way, self.a, 1.0), (self._way, homes.x, -homes.clusters)], len(ways), 0.0, 0.0)
        number = np.full((len(self.r), len(ways)), -1)
        number[self.host, way] = np.arange(len(way))
        held = np.flatnonzero(homes.on >= 0)
        stay = number[homes.on[held], self._way[held]], homes.x[held], -homes.clusters[held]
        built.add([(np.arange(len(way)), self.a, 1.0), stay], len(way), 0.0, np.inf)
        caps = self.problem.caps[self.pool_of_host].astype(np.float64)
        built.add([(self.host, self.a, 1.0), (np.arange(len(caps)), self.r, -caps)], len(caps), -np.inf, 0.0)

    def _losses(self) -> None:
        """Add (4)."""
        away = np.flatnonzero(self.standby >= 0)
        to, host, every = self.standby[away], self.host[away], np.arange(len(away))
        terms: list[Terms] = [(every, self.a[away], 1.0), (every, self.load[to], 1.0)]
        terms.append((every, self.n[to], -self.room[to]))
        same = np.flatnonzero(to == self.pool_of_host[host])
        row_of_host = np.full(len(self.r), -1)
        row_of_host[host[same]] = same
        mine = np.flatnonzero(row_of_host[self.host] >= 0)
        terms.append((row_of_host[self.host[mine]], self.a[mine], -1.0))
        terms.append((same, self.r[host[same]], self.room[to[same]]))
        self.built.add(terms, len(away), -np.inf, 0.0)

    def _level_columns(self) -> None:
        """Add the columns z with n_p = sum_k k z_pk and sum_k z_pk = 1."""
        most = np.minimum(self.problem.max_hosts, np.bincount(self.pool_of_host, minlength=len(self.pools)))
        self._pool = np.repeat(self.pools, most + 1)
        self._hosts = np.concatenate([np.arange(m + 1) for m in most.tolist()]).astype(np.float64)
        self.levels = self.built.block(len(self._pool), upper=1.0, whole=True)
        self.built.add([(self._pool, self.levels, 1.0)], len(self.pools), 1.0, 1.0)
        n = (self.pools, self.n, -1.0)
        self.built.add([(self._pool, self.levels, self._hosts), n], len(self.pools), 0.0, 0.0)

    def at_levels(self, n: Floats) -> Floats:
        """Return the values of the columns z where ``n`` (P,) hosts run."""
        return np.asarray(self._hosts == n[self._pool], dtype=np.float64)

    def _level_rows(self) -> None:
        """Add the rest of (5), and (6)."""
        built, homes = self.built, self.homes
        use = np.flatnonzero(self._to >= 0)
        lost, to, every = self._lost[use], self._to[use], np.arange(len(use))
        pair, level = np.nonzero((lost[:, None] == self._pool) & (self._hosts > (lost == to)[:, None]))
        sent = built.block(len(pair))
        row = np.full(len(self._lost), -1)
        row[use] = every
        behind = np.flatnonzero(row[self._way] >= 0)
        brought = row[self._way[behind]], homes.x[behind], homes.clusters[behind]
        built.add([brought, (pair, sent, -1.0)], len(use), 0.0, 0.0)
        caps = self.problem.caps[self._pool] * self._hosts
        levels = np.arange(len(self.levels))
        built.add([(level, sent, 1.0), (levels, self.levels, -caps)], len(levels), -np.inf, 0.0)
        shared = (pair, sent, 1.0 / (self._hosts[level] - (lost == to)[pair]))
        room = (every, self.n[to], -self.room[to])
        built.add([(every, self.load[to], 1.0), shared, room], len(use), -np.inf, 0.0)
