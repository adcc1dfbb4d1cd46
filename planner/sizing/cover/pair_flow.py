"""Homes and standbys as a flow, when host counts and reserve are given; its cuts say what these lack.

Class c sends its clusters to pairs (p, q) of home and standby, a pair takes at most ``ready[p, q]`` on to its home, and
home p at most ``load[p]``. Classes that cannot have a standby go to their homes directly. The flow is whole, so nothing
is lost by asking it about clusters; sites kept together are taken for divisible here.

A class of g pools has g (g - 1) pairs, too many to list for all. Some are listed first; where the flow is stuck, those
that lead out of its cut are added, until none does.

Sources: cuts by max-flow min-cut, L. R. Ford, D. R. Fulkerson, Canadian J. Math. 8 (1956) 399-404.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from ortools.graph.python import max_flow, min_cost_flow
from scipy.sparse import csr_array

from planner.arrays import falses, int_zeros
from planner.errors import SolverError
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.instance.classes import Classes

_LISTED_PAIRS = 30  # of a class, to begin with
_MORE_PAIRS = 4  # of each home of a class at a time, where the flow is stuck
_CHEAP_HOMES, _CHEAP_PAIRS = 3, 20  # homes of a class, and pairs of each, where costs count
_UNLIMITED = 2**31


@dataclass(frozen=True)
class MinimumCut:
    """A set S of classes that does not find homes: its ``demand`` in clusters, the ``pairs`` (P, P) of home and standby
    open to those of it that can have a standby, the ``homes`` (P,) of those that cannot."""

    classes: Ints
    demand: int
    pairs: Bools
    homes: Bools


@dataclass(frozen=True)
class PairFlow:
    """``missing`` clusters of the demand find no place, in parts of a cluster; ``sets`` are those that are stuck.

    The first of two says all that is missing; the second is as large as one can be on the pairs that are listed.
    """

    missing: float
    sets: tuple[Bools, ...]


class PairNetwork:
    """The network of one fleet; only room and scale change from flow to flow."""

    def __init__(self, classes: Classes, losses: Losses, max_hosts: Ints, seed: int) -> None:
        self.classes, self.pools = classes, len(max_hosts)
        self.demand = classes.demand * classes.items
        self.may = losses.partners(np.arange(self.pools), max_hosts)
        self.coverable = losses.coverable(classes.indptr, classes.pool, max_hosts, classes.home)
        self.homes = _marked_pools(classes.of_the_day, self.pools)
        self.eligible = _marked_pools(classes, self.pools)
        self._cheap_listed = False
        self._random = np.random.default_rng(seed)
        self._pair_node = classes.count
        home_node = self._home_node = classes.count + self.pools**2
        self._source = home_node + self.pools
        self._sink = home_node + self.pools + 1
        self._flows = max_flow.SimpleMaxFlow()
        add = self._flows.add_arcs_with_capacity
        kinds = np.arange(classes.count)
        from_source = np.full(classes.count, self._source)
        self._supply = add(from_source, kinds, _unlimited(kinds))
        home_nodes = home_node + np.arange(self.pools)
        to_sink = np.full(self.pools, self._sink)
        self._room = add(home_nodes, to_sink, int_zeros(self.pools))
        home, standby = np.nonzero(self.may)
        self._pairs = home, standby
        pairs = self._node_of(home, standby)
        self._ready = add(pairs, home_node + home, 0 * home)
        covered = self.coverable[classes.of_arc]
        direct = np.flatnonzero(classes.home & ~covered)
        kind = classes.of_arc[direct]
        pool = classes.pool[direct]
        at = add(kind, home_node + pool, _unlimited(kind))
        self._arc_of = [direct]
        self._listed = [np.asarray(at, dtype=np.int64)]
        self._standby = [np.full(len(direct), -1)]
        choices = np.maximum(1, np.diff(classes.indptr))
        few = np.maximum(1, -(-_LISTED_PAIRS // choices)).tolist()
        with_standby = np.flatnonzero(self.coverable).tolist()
        may = self.may
        chosen = ((c, *self._chosen(c, may, few[c])) for c in with_standby)
        self._list(chosen)

    def _node_of(self, home: Ints, standby: Ints) -> Ints:
        """Return the nodes of pairs of home and standby."""
        return self._pair_node + home * self.pools + standby

    @property
    def nodes(self) -> int:
        """Nodes of the network."""
        return self._sink + 1

    def _chosen(self, c: int, wanted: Bools, each: int) -> tuple[Ints, Ints]:
        """Return arcs and pairs of class ``c`` that ``wanted`` (P, P) marks: of each home ``each`` at random."""
        arcs = self.classes.arcs_of(c)
        mine = self.classes.pool[arcs]
        random = self._random.random((len(mine), len(mine)))
        lives = self.classes.home[arcs]
        may = wanted[np.ix_(mine, mine)] & lives[:, None]
        draw = np.where(may, random, 2.0)
        chosen = np.argsort(draw, axis=1)[:, :each]
        drawn = np.take_along_axis(draw, chosen, axis=1)
        home, rank = np.nonzero(drawn < 1.0)
        standby = mine[chosen[home, rank]]
        pairs = mine[home] * self.pools + standby
        return arcs.start + home, pairs

    def _list(self, chosen: Iterable[tuple[int, Ints, Ints]]) -> int:
        """List pairs, given as class, arcs and pairs; return how many."""
        rows = [(np.full(len(arcs), c), arcs, pairs) for c, arcs, pairs in chosen]
        if not rows:
            return 0
        kind, arc, pair = map(np.concatenate, zip(*rows, strict=True))
        pair_node = self._pair_node + pair
        at = self._flows.add_arcs_with_capacity(kind, pair_node, _unlimited(kind))
        self._arc_of.append(arc)
        self._standby.append(pair % self.pools)
        self._listed.append(np.asarray(at, dtype=np.int64))
        return len(arc)

    def solve(self, load: Floats | Ints, ready: Floats | Ints, scale: int = 1, demand: Ints | None = None) -> PairFlow:
        """Return a flow with ``load`` (P,) and ``ready`` (P, P) in clusters, rounded down to parts of ``scale``.

        ``demand`` (K,) in clusters, where it is not that of all classes. Raises SolverError when the flow code fails.
        """
        asked = self.demand if demand is None else demand
        while True:
            self._flows.set_arcs_capacity(self._supply, asked * scale)
            self._flows.set_arcs_capacity(self._room, _parts(load, scale))
            of_pairs = ready[self._pairs]
            self._flows.set_arcs_capacity(self._ready, _parts(of_pairs, scale))
            status = self._flows.solve(self._source, self._sink)
            if status != self._flows.OPTIMAL:
                raise SolverError(f"the solver of network flows failed (status {status})")
            found = int(self._flows.optimal_flow())
            missing = int(asked.sum()) * scale - found
            if not missing:
                return PairFlow(0.0, ())
            near = self._marked(self._flows.get_source_side_min_cut())
            if not self._list_out_of(near):
                far = ~self._marked(self._flows.get_sink_side_min_cut())
                kinds = self.classes.count
                return PairFlow(missing / scale, (near[:kinds], far[:kinds]))

    def _marked(self, nodes: object) -> Bools:
        marked = falses(self._sink + 1)
        marked[np.asarray(nodes, dtype=np.int64)] = True
        return marked

    def _list_out_of(self, near: Bools) -> int:
        """List pairs that lead from classes on the source's side of a cut to its other side; return how many."""
        pairs = near[self._pair_node : self._home_node]
        wanted = self.may & ~pairs.reshape(self.pools, self.pools)
        stuck = near[: self.classes.count]
        asking = np.flatnonzero(stuck & self.coverable)
        # A class that has some home with a wanted standby: count pairs by a product instead of listing all.
        standbys = self.homes[asking] @ csr_array(wanted.astype(np.int32))
        followed = standbys.multiply(self.eligible[asking])
        found: Ints = np.asarray(followed.sum(axis=1)).ravel()
        # None of these is listed yet: what is listed leads from the near side to the near side.
        with_more = asking[found > 0].tolist()
        chosen = ((c, *self._chosen(c, wanted, _MORE_PAIRS)) for c in with_more)
        return self._list(chosen)

    def min_cut(self, classes: Bools, asked: Ints) -> MinimumCut:
        """Return what the set of ``classes`` (K,) may use; those of which ``asked`` (K,) is 0 are left out of it."""
        classes = classes & (asked > 0)
        followed = np.flatnonzero(classes & self.coverable)
        together = self.homes[followed].T @ self.eligible[followed]
        pairs = self.may & (together.toarray() > 0)
        homes = falses(self.pools)
        no_standby = classes & ~self.coverable
        bare = no_standby[self.classes.of_arc] & self.classes.home
        homes[self.classes.pool[bare]] = True
        demand = int(asked[classes].sum())
        return MinimumCut(np.flatnonzero(classes), demand, pairs, homes)

    def cheapest(
        self, load: Ints, ready: Ints, cost: Ints, demand: Ints | None = None
    ) -> tuple[Ints, Ints, Ints] | None:
        """Return whole homes of least ``cost`` (A,) a cluster: arc of the class, standby pool (-1 for none), clusters.

        Of the pairs that are listed; to these come all whose home is one of the cheapest of its class. None where
        ``load`` (P,) and ``ready`` (P, P) do not carry ``demand`` (K,), that of all classes by default.
        """
        asked = self.demand if demand is None else demand
        if self.solve(load, ready, demand=asked).missing:
            return None
        self._list_cheap(cost)
        arc = np.concatenate(self._arc_of)
        standby = np.concatenate(self._standby)
        home = self.classes.pool[arc]
        at_pair = self._node_of(home, standby)
        node = np.where(standby < 0, self._home_node + home, at_pair)
        pair_home, pair_standby = self._pairs
        flow = min_cost_flow.SimpleMinCostFlow()
        add = flow.add_arcs_with_capacity_and_unit_cost
        total = int(asked.sum())
        kind = self.classes.of_arc[arc]
        most = np.minimum(asked[kind], total)
        at = add(kind, node, most, cost[arc])
        none = int_zeros(len(pair_home))
        pair_node = self._node_of(pair_home, pair_standby)
        most_ready = np.minimum(ready[self._pairs], total)
        add(pair_node, self._home_node + pair_home, most_ready, none)
        home_nodes = self._home_node + np.arange(self.pools)
        to_sink = np.full(self.pools, self._sink)
        most_load = np.minimum(load, total)
        add(home_nodes, to_sink, most_load, int_zeros(self.pools))
        flow.set_nodes_supplies(np.arange(self.classes.count), asked)
        flow.set_node_supply(self._sink, -total)
        status = flow.solve()
        if status != flow.OPTIMAL:
            raise SolverError(f"the solver of network flows failed (status {status})")
        sent = np.asarray(flow.flows(at), dtype=np.int64)
        used = np.flatnonzero(sent)
        return arc[used], standby[used], sent[used]

    def _list_cheap(self, cost: Ints) -> None:
        """List all pairs of the homes that are cheapest for their class, once."""
        if self._cheap_listed:
            return
        self._cheap_listed = True
        chosen = []
        for c in np.flatnonzero(self.coverable).tolist():
            arcs = self.classes.arcs_of(c)
            near = falses(self.pools)
            mine = arcs.start + np.flatnonzero(self.classes.home[arcs])
            cheapest = np.argsort(cost[mine], kind="stable")[:_CHEAP_HOMES]
            near[self.classes.pool[mine][cheapest]] = True
            at_home = self.may & near[:, None]
            chosen.append((c, *self._chosen(c, at_home, _CHEAP_PAIRS)))
        self._list(chosen)


def _marked_pools(classes: Classes, pools: int) -> csr_array:
    """Return which pools each class has arcs to, shape (K, P)."""
    marks = np.ones(len(classes.pool), dtype=np.int32)
    return csr_array((marks, classes.pool, classes.indptr), shape=(classes.count, pools))


def _unlimited(arcs: Ints) -> Ints:
    """Return a capacity that limits none of ``arcs`` (n,)."""
    return np.full(len(arcs), _UNLIMITED, dtype=np.int64)


def _parts(clusters: Floats | Ints, scale: int) -> Ints:
    """Return clusters in whole parts, rounded down but for the dust of floating point."""
    parts = np.floor(clusters * scale + 1e-6)
    return np.maximum(0, parts).astype(np.int64)
