"""Homes of every class, when host counts and reserve are whole and known to have some.

A flow of least cost settles single clusters exactly. Sites of several clusters are put on pairs that the flow of
divisible ones uses, the largest first; the single clusters then flow into what they leave.
"""

from __future__ import annotations

import numpy as np

from planner.arrays import as_floats, rounded, totals
from planner.fleet import Floats, Ints
from planner.sizing.cover.pair_flow import PairNetwork
from planner.sizing.cover.reserve_model import ReserveModel
from planner.sizing.cover.reserve_search import ReserveSearch
from planner.sizing.cover.reserve_terms import Point, Taken
from planner.sizing.packing.pools import packs_at_once
from planner.sizing.solvers.transportation import Cost, Transport, least_cost_flow


def liked_room(reserves: ReserveSearch, network: PairNetwork, point: Point, cost: Ints) -> Point:
    """Return ``point`` with room near what homes of least ``cost`` (A,) would leave if nobody needed a standby."""
    classes, hosts = network.classes.of_the_day, rounded(point.hosts)
    of_cluster = cost[network.classes.home] // classes.arc_items
    room = reserves.problem.caps * hosts
    transport = Transport(classes.of_arc, classes.pool, network.demand, room)
    found = least_cost_flow(transport, [Cost(as_floats(of_cluster), 1.0)])
    if found is None:
        return point
    load = totals(classes.pool, found, network.pools)
    left = as_floats(reserves.losses.room * hosts - load)
    return reserves.near(left).room_for(hosts) or point


def find_homes(reserves: ReserveSearch, network: PairNetwork, point: Point, cost: Ints) -> Floats | None:
    """Return the sites of each class of ``network`` on each of its arcs (A,).

    They are of least ``cost`` (A,) for the room at ``point`` where none is kept together.
    None where sites of several clusters do not fit as they are put; no proof that they cannot.
    """
    model = reserves.model
    classes = network.classes
    load, ready = _whole_room(model, point)
    settled = np.zeros(len(classes.pool))
    asked = network.demand
    if classes.multi_cluster.any():
        found = network.cheapest(load, ready, cost // classes.arc_items)
        all_load, all_ready = load.copy(), ready.copy()
        multi_cluster = None
        if found is not None:
            multi_cluster = _multi_cluster(network, load, ready, *found)
        hosts = rounded(point.hosts)
        if multi_cluster is None or not packs_at_once(reserves.problem, classes, hosts, multi_cluster):
            return None
        settled = multi_cluster
        asked = np.where(classes.multi_cluster, 0, network.demand)
        if network.solve(load, ready, demand=asked).missing:
            taken = Taken(all_load - load, all_ready - ready)
            search = reserves.beside(network, taken, asked)
            better = search.room_for(rounded(point.hosts))
            if better is None:
                return None
            load, ready = _whole_room(search.model, better)
    light = network.cheapest(load, ready, cost, asked)
    if light is None:
        return None
    arc, _, clusters = light
    return settled + totals(arc, clusters, len(settled))


def _whole_room(model: ReserveModel, point: Point) -> tuple[Ints, Ints]:
    """Return the room of homes (P,) and of standbys (P, P) at a whole point."""
    return rounded(model.load(point)), rounded(model.ready(point))


def _multi_cluster(
    network: PairNetwork, load: Ints, ready: Ints, arc: Ints, standby: Ints, clusters: Ints
) -> Floats | None:
    """Return the sites of several clusters on each arc (A,), and take their room from ``load`` and ``ready``."""
    classes = network.classes
    settled = np.zeros(len(classes.pool))
    sent = np.lexsort((standby, arc, clusters))[::-1]
    class_sent, ways = classes.of_arc[arc[sent]], np.column_stack((arc, standby))[sent]
    multi_cluster = np.flatnonzero(classes.multi_cluster)
    choices = np.diff(classes.indptr)[multi_cluster]
    order = np.lexsort((-classes.items[multi_cluster], choices))
    for c in multi_cluster[order].tolist():
        k = int(classes.items[c])
        options = ways[class_sent == c].tolist()
        for _ in range(int(classes.size[c])):
            fitting = ((a, q) for a, q in options if _room(classes.pool[a], q, load, ready) >= k)
            pick = next(fitting, None) or _roomiest(network, c, load, ready)
            if pick is None:
                return None
            a, q = pick
            p = int(classes.pool[a])
            if _room(p, q, load, ready) < k:
                return None
            settled[a] += 1
            load[p] -= k
            if q >= 0:
                ready[p, q] -= k
    return settled


def _room(p: int, q: int, load: Ints, ready: Ints) -> int:
    """Return the clusters that home ``p`` with standby ``q`` may still take; -1 is no standby."""
    both = min(load[p], ready[p, q])
    room = load[p] if q < 0 else both
    return int(room)


def _roomiest(network: PairNetwork, c: int, load: Ints, ready: Ints) -> tuple[int, int] | None:
    """Return the arc and standby of class ``c`` with most room."""
    classes = network.classes
    of_class = classes.arcs_of(c)
    arcs = np.arange(of_class.start, of_class.stop)
    mine = classes.pool[arcs]
    lives = classes.home[arcs]
    left = np.where(lives, load[mine], -1)
    if not network.coverable[c]:
        return int(arcs[left.argmax()]), -1
    both = np.ix_(mine, mine)
    free = np.minimum(ready[both], left[:, None])
    room = np.where(network.may[both], free, -1)
    home, rank = divmod(int(room.argmax()), len(mine))
    if room[home, rank] > 0:
        return int(arcs[home]), int(mine[rank])
    return None
