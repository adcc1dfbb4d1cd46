"""Necessary conditions on host counts, as flows: a layer asks whether classes can send their demand to pools.

Layer "clusters": class c sends k_c s_c clusters, pool p takes C_p n_p. For sites of one cluster it is also
sufficient. Layer "size t": class c with k_c >= t sends s_c items, pool p takes floor(C_p / t) n_p.
A cut of a layer is Hall's condition in its deficiency form: a set S of classes and all pools N(S) they can
use need  sum_{p in N(S)} room_p n_p >= demand(S).

Sources: P. Hall, "On representatives of subsets", J. London Math. Soc. 10 (1935) 26-30; O. Ore, "Graphs and
matching theorems", Duke Math. J. 22 (1955) 625-639; cuts by max-flow min-cut, L. R. Ford, D. R. Fulkerson,
Canadian J. Math. 8 (1956) 399-404.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components, maximum_flow

from planner.fleet import Bools, Ints
from planner.sizing.problem import Classes, Problem


@dataclass(frozen=True)
class Cut:
    """A set of classes and the pools they can use: ``room`` (P,) is 0 outside; needs ``room @ n >= demand``."""

    layer: int
    size: int  # items of as many clusters or more are counted; 1: clusters are
    classes: Ints
    room: Ints
    demand: int

    def shortfall(self, hosts: Ints) -> int:
        """Return by how much ``hosts`` (P,) fails the cut; 0 or less when it holds."""
        return self.demand - int(self.room @ hosts)


@dataclass(frozen=True)
class Layer:
    """One flow condition. ``demand`` (K,) of each class, 0 for those it does not ask; ``room`` (P,) of one host."""

    index: int
    size: int
    classes: Classes
    demand: Ints
    room: Ints

    @cached_property
    def _arcs(self) -> Ints:
        return np.flatnonzero(self.demand[self.classes.of_arc] > 0)

    @cached_property
    def _graph(self) -> csr_array:
        """Source, classes, pools, sink; the data of pool arcs are replaced for each flow."""
        kinds, pools = len(self.demand), len(self.room)
        source, sink = kinds + pools, kinds + pools + 1
        tail = np.concatenate((np.full(kinds, source), self.classes.of_arc[self._arcs], kinds + np.arange(pools)))
        head = np.concatenate((np.arange(kinds), kinds + self.classes.pool[self._arcs], np.full(pools, sink)))
        most = np.concatenate((self.demand, self.demand[self.classes.of_arc[self._arcs]], np.ones(pools)))
        graph = csr_array(coo_array((most.astype(np.int32), (tail, head)), shape=(sink + 1, sink + 1)))
        graph.sort_indices()
        return graph

    def flow(self, hosts: Ints) -> Flow:
        """Return a maximum flow with ``hosts`` (P,) running."""
        graph = self._graph.copy()
        kinds, pools = len(self.demand), len(self.room)
        # Each pool row holds exactly one arc, the one to the sink.
        graph.data[graph.indptr[kinds : kinds + pools]] = np.minimum(self.room * hosts, 2**31 - 1)
        found = maximum_flow(graph, kinds + pools, kinds + pools + 1)
        return Flow(self, graph, csr_array(found.flow), int(found.flow_value))

    def cut(self, classes: Ints) -> Cut:
        """Return the cut of a set of classes."""
        inside = np.zeros(len(self.demand), dtype=np.bool_)
        inside[classes] = True
        room = np.zeros_like(self.room)
        pools = self.classes.pool[inside[self.classes.of_arc]]
        room[pools] = self.room[pools]
        return Cut(self.index, self.size, classes, room, int(self.demand[classes].sum()))

    @cached_property
    def _reach(self) -> csr_array:
        """1 where a class asks and can use a pool, shape (K, P)."""
        at = (self.classes.of_arc[self._arcs], self.classes.pool[self._arcs])
        return csr_array(coo_array((np.ones(len(self._arcs), dtype=np.int64), at), shape=self._shape))

    @property
    def _shape(self) -> tuple[int, int]:
        return len(self.demand), len(self.room)

    def short_classes(self, hosts: Ints, most: int) -> list[Cut]:
        """Return the cuts of single classes that fail worst, at most ``most`` of them."""
        short = self.demand - self._reach @ (self.room * hosts)
        worst = np.argsort(-short, kind="stable")[:most]
        return [self.cut(np.array([c])) for c in worst if short[c] > 0]


@dataclass(frozen=True)
class Flow:
    """A maximum flow of a layer."""

    layer: Layer
    capacity: csr_array
    flow: csr_array
    value: int

    @property
    def missing(self) -> int:
        """Demand that the hosts cannot take."""
        return int(self.layer.demand.sum()) - self.value

    @cached_property
    def _residual(self) -> csr_array:
        residual = csr_array(self.capacity - self.flow)
        residual.eliminate_zeros()
        return residual

    @cached_property
    def source_side(self) -> Bools:
        """Nodes (classes, then pools) that unserved demand can still reach: the minimal minimum cut."""
        return self._reached(self._residual, self.capacity.shape[0] - 2)

    @cached_property
    def sink_side(self) -> Bools:
        """Nodes from which spare room can be reached: its complement is the maximal minimum cut."""
        return self._reached(csr_array(self._residual.T), self.capacity.shape[0] - 1)

    @staticmethod
    def _reached(graph: csr_array, start: int) -> Bools:
        reached = np.zeros(graph.shape[0], dtype=np.bool_)
        reached[breadth_first_order(graph, start, return_predecessors=False)] = True
        return reached

    def cuts(self) -> Iterator[Cut]:
        """Yield cuts that the hosts fail: connected parts of the minimal and of the maximal minimum cut."""
        kinds = len(self.layer.demand)
        asking = self.layer.demand > 0
        for side in (self.source_side, ~self.sink_side):
            classes = np.flatnonzero(side[:kinds] & asking)
            for part in self._parts(classes):
                yield self.layer.cut(part)

    def _parts(self, classes: Ints) -> list[Ints]:
        if not len(classes):
            return []
        reach = self.layer._reach[classes]
        pools = reach.shape[1]
        at = reach.tocoo()
        size = len(classes) + pools
        graph = coo_array((np.ones(len(at.row)), (at.row, len(classes) + at.col)), shape=(size, size))
        _, label = connected_components(graph, directed=False)
        label = label[: len(classes)]
        return [classes[label == part] for part in np.unique(label)]

    def spare(self, hosts: Ints) -> Ints:
        """Return the room left in each pool, shape (P,)."""
        kinds, pools = len(self.layer.demand), len(self.layer.room)
        used = self.flow[kinds : kinds + pools, [kinds + pools + 1]].toarray().ravel()
        return self.layer.room * hosts - used.astype(np.int64)


def layers(problem: Problem, classes: Classes) -> tuple[Layer, ...]:
    """Return the conditions that host counts must meet, the one on clusters first."""
    found = [Layer(0, 1, classes, classes.demand * classes.items, problem.caps)]
    for size in np.unique(classes.items[classes.heavy]).tolist():
        # Where every cap is a multiple of the size, counting clusters already says as much.
        if np.any(problem.caps % size):
            demand = np.where(classes.items >= size, classes.size, 0)
            found.append(Layer(len(found), size, classes, demand, problem.caps // size))
    return tuple(found)
