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
from ortools.graph.python import max_flow
from scipy.sparse import csr_array

from planner.arrays import falses, int_zeros
from planner.errors import SolverError
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.instance.classes import Classes

_LISTED_PAIRS = 30  # of a class, to begin with
_MORE_PAIRS = 4  # of each home of a class at a time, where the flow is stuck
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
        add(kind, home_node + pool, _unlimited(kind))
        choices = np.maximum(1, np.diff(classes.indptr))
        few = np.maximum(1, -(-_LISTED_PAIRS // choices)).tolist()
        with_standby = np.flatnonzero(self.coverable).tolist()
        may = self.may
        chosen = ((c, self._chosen(c, may, few[c])) for c in with_standby)
        self._list(chosen)

    def _node_of(self, home: Ints, standby: Ints) -> Ints:
        """Return the nodes of pairs of home and standby."""
        return self._pair_node + home * self.pools + standby

    def _chosen(self, c: int, wanted: Bools, each: int) -> Ints:
        """Return pairs of class ``c`` that ``wanted`` (P, P) marks: of each home ``each`` at random."""
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
        pairs: Ints = mine[home] * self.pools + standby
        return pairs

    def _list(self, chosen: Iterable[tuple[int, Ints]]) -> int:
        """List pairs, given with their class; return how many."""
        listed = list(chosen)
        if not listed:
            return 0
        pair = np.concatenate([pairs for _, pairs in listed])
        kind = np.concatenate([np.full(len(pairs), c) for c, pairs in listed])
        pair_node = self._pair_node + pair
        self._flows.add_arcs_with_capacity(kind, pair_node, _unlimited(kind))
        return len(kind)

    def solve(self, load: Floats | Ints, ready: Floats | Ints, scale: int = 1) -> PairFlow:
        """Return a flow with ``load`` (P,) and ``ready`` (P, P) in clusters, rounded down to parts of ``scale``.

        Raises SolverError when the flow code fails.
        """
        while True:
            self._flows.set_arcs_capacity(self._supply, self.demand * scale)
            self._flows.set_arcs_capacity(self._room, _parts(load, scale))
            of_pairs = ready[self._pairs]
            self._flows.set_arcs_capacity(self._ready, _parts(of_pairs, scale))
            status = self._flows.solve(self._source, self._sink)
            if status != self._flows.OPTIMAL:
                raise SolverError(f"the solver of network flows failed (status {status})")
            found = int(self._flows.optimal_flow())
            missing = int(self.demand.sum()) * scale - found
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
        chosen = ((c, self._chosen(c, wanted, _MORE_PAIRS)) for c in with_more)
        return self._list(chosen)

    def min_cut(self, classes: Bools) -> MinimumCut:
        """Return what the set of ``classes`` (K,) may use."""
        followed = np.flatnonzero(classes & self.coverable)
        together = self.homes[followed].T @ self.eligible[followed]
        pairs = self.may & (together.toarray() > 0)
        homes = falses(self.pools)
        no_standby = classes & ~self.coverable
        bare = no_standby[self.classes.of_arc] & self.classes.home
        homes[self.classes.pool[bare]] = True
        demand = int(self.demand[classes].sum())
        return MinimumCut(np.flatnonzero(classes), demand, pairs, homes)


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
