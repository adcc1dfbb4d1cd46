"""What the model of reserve speaks of: shares, points, sets and cuts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import compress

import numpy as np

from planner.arrays import falses, indices, int_array
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.pair_flow import PairNetwork
from planner.sizing.host_counts.certificate import inequalities
from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.instance.classes import Classes

_AT_A_TIME = 30  # conditions
_EPS = 1e-6


@dataclass(frozen=True)
class Shares:
    """Which unknown tells how much room of pool q stands ready for pool p.

    ``column`` (P, P): its position; the first P unknowns are s, then come ``count`` shares t. ``limits``: columns of
    shares of which the sum is at most s_q, with q.
    """

    column: Ints
    count: int
    limits: tuple[tuple[Ints, int], ...]


class KnownConditions:
    """Conditions on host counts that an earlier search learned; a model takes in those that its solutions fail."""

    def __init__(self, cuts: Iterable[Cut], pools: int) -> None:
        rows = [row for cut in cuts for row in inequalities(cut)]
        self._cuts = [row.cut for row in rows]
        rooms = [row.room for row in rows]
        self._rooms = int_array(rooms).reshape(-1, pools)
        self._needs = int_array([row.demand for row in rows])
        self._given = falses(len(rows))

    def failed_by(self, hosts: Floats) -> list[tuple[Ints, int]]:
        """Return room (P,) and demand of those that ``hosts`` (P,) fail worst, of which none was returned before."""
        short = self._needs - self._rooms @ hosts
        short[self._given] = 0
        worst = np.argsort(-short, kind="stable")[:_AT_A_TIME]
        worst = worst[short[worst] > _EPS]
        self._given[worst] = True
        needs = self._needs[worst].tolist()
        return list(zip(self._rooms[worst], needs, strict=True))

    @property
    def given(self) -> list[Cut]:
        """The cuts of those that were returned."""
        given = compress(self._cuts, self._given)
        return list({id(cut): cut for cut in given}.values())


def read_shares(losses: Losses) -> Shares:
    """Return the shares under ``losses``."""
    pools = losses.pools.shape[1]
    column = np.tile(np.arange(pools), (pools, 1))
    several = losses.pools[losses.pools.sum(axis=1) > 1]
    together = several.any(axis=0)
    home, standby = np.nonzero(together[:, None] & losses.follows)
    column[home, standby] = pools + indices(home)
    limits = []
    for hit in several:
        for q in np.flatnonzero(~hit).tolist():
            sending = np.flatnonzero(hit & losses.follows[:, q])
            if len(sending):
                limits.append((column[sending, q], q))
    return Shares(column, len(home), tuple(limits))


@dataclass(frozen=True)
class Point:
    """Values of the unknowns, whole or not: ``hosts`` (P,), ``room`` (P + shares,)."""

    hosts: Floats
    room: Floats

    def towards(self, other: Point, part: float) -> Point:
        """Return the point that lies ``part`` of the way to ``other``."""
        hosts = self.hosts + part * (other.hosts - self.hosts)
        room = self.room + part * (other.room - self.room)
        return Point(hosts, room)


@dataclass(frozen=True)
class CoverSet:
    """A set of classes that needs homes for ``demand`` clusters.

    The pools that some class of it may have as home are counted by ``full`` (P,), C_p n_p, by ``kept`` (P,),
    R_p n_p - s_p, or by the room of the standbys in ``ready`` (P, P).
    """

    classes: Ints
    demand: int
    full: Bools
    kept: Bools
    ready: Bools


@dataclass(frozen=True)
class ReserveCut(CoverSet):
    """A set that is stuck, as an inequality; ``ready`` counts shares t_pq.

    It is ``on_hosts @ n + on_room @ room >= demand``.
    """

    on_hosts: Floats
    on_room: Floats

    def shortfall(self, point: Point) -> float:
        """Return by how much ``point`` fails the inequality; 0 or less when it holds."""
        lacking = self.demand - self.on_hosts @ point.hosts
        return float(lacking - self.on_room @ point.room)

    def fails(self, point: Point) -> bool:
        """Say whether ``point`` fails the inequality by more than the dust of floating point."""
        return self.shortfall(point) > _EPS * max(1, self.demand)


@dataclass(frozen=True)
class Wanted:
    """Some pool of ``standbys`` has to keep ``clusters`` of room, for a site that stays together."""

    standbys: Ints
    clusters: int


def wanted(classes: Classes, network: PairNetwork) -> tuple[Wanted, ...]:
    """Return what sites of several clusters want, without what other wishes imply."""
    found: list[tuple[frozenset[int], int]] = []
    wishes = set()
    for c in np.flatnonzero(classes.multi_cluster & network.coverable).tolist():
        arcs = classes.arcs_of(c)
        mine = classes.pool[arcs]
        homes = mine[classes.home[arcs]]
        follows = network.may[np.ix_(homes, mine)].any(axis=0)
        standbys = frozenset(mine[follows].tolist())
        wishes.add((standbys, int(classes.items[c])))
    for pools, clusters in sorted(wishes, key=lambda wish: (len(wish[0]), -wish[1], sorted(wish[0]))):
        if not any(other <= pools and k >= clusters for other, k in found):
            found.append((pools, clusters))
    sets = [(int_array(sorted(pools)), clusters) for pools, clusters in found]
    return tuple(Wanted(pools, clusters) for pools, clusters in sets)


@dataclass(frozen=True)
class Taken:
    """Room that sites of several clusters already take: ``load`` (P,) of homes, ``ready`` (P, P) of standbys."""

    load: Ints
    ready: Ints
