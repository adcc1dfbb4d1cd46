"""The WAN graph of the Links sheet: shortest paths with parts of it lost, bridges and articulation points."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from planner.fleet import Fleet, Floats
from planner.latency import delays_of_links

if TYPE_CHECKING:
    import networkx as nx
    from scipy.sparse import csr_array

Link = frozenset[str]


class Graph:
    """Nodes by name, links in both directions; of parallel links the fastest counts, and they are one link.

    NetworkX tells bridges and articulation points; SciPy, many times faster, searches paths in a matrix of delays in
    which a lost link counts as infinitely long.
    """

    def __init__(self, fleet: Fleet) -> None:
        self._ends, self._ms = delays_of_links(fleet)
        self.names: list[str] = list(self.graph) if len(self._ms) else []
        self.at = {name: at for at, name in enumerate(self.names)}
        self.steps = 0  # nodes visited by all searches together

    @cached_property
    def graph(self) -> nx.Graph:
        """The graph; each link has its delay as ``ms``."""
        import networkx as nx

        graph = nx.Graph()
        for (one, other), delay in zip(self._ends, self._ms, strict=True):
            known = graph.get_edge_data(one, other, {"ms": np.inf})["ms"]
            if one != other and delay <= known:
                graph.add_edge(one, other, ms=float(delay))
        return graph

    @cached_property
    def links(self) -> list[tuple[str, str]]:
        """Every link by its two ends."""
        return list(self.graph.edges) if self.names else []

    @cached_property
    def bridges(self) -> set[Link]:
        """Links without which the graph falls apart."""
        import networkx as nx

        return {frozenset(link) for link in nx.bridges(self.graph)}

    @cached_property
    def articulation_points(self) -> set[str]:
        """Nodes without which the graph falls apart."""
        import networkx as nx

        return set(nx.articulation_points(self.graph))

    @cached_property
    def _delays(self) -> csr_array[np.float64, tuple[int, int]]:
        from scipy.sparse import csr_array

        one, other = np.array([[self.at[a], self.at[b]] for a, b in self.links], dtype=np.int64).T
        ms = np.array([self.graph.edges[link]["ms"] for link in self.links])
        # Ordered by row and column, so that a link's two cells can be looked up.
        row, column = np.concatenate([one, other]), np.concatenate([other, one])
        order = np.lexsort((column, row))
        starts = np.searchsorted(row[order], np.arange(len(self.names) + 1))
        return csr_array((np.tile(ms, 2)[order], column[order], starts), shape=(len(self.names),) * 2)

    @contextmanager
    def without(self, links: Iterable[Link], nodes: Iterable[str]) -> Iterator[None]:
        """Lose links, and nodes with all of their links, for a while."""
        lost = [tuple(self.at[end] for end in link) for link in links]
        lost += [(self.at[node], self.at[other]) for node in nodes for other in self.graph.adj[node]]
        cells = [self._cell(a, b) for pair in lost for a, b in (pair, pair[::-1])]
        before = self._delays.data[cells]
        self._delays.data[cells] = np.inf
        try:
            yield
        finally:
            self._delays.data[cells] = before

    def search(self, start: str) -> tuple[Floats, npt.NDArray[np.int32]]:
        """Return delay in ms from ``start`` to each node, inf if it is not reached, and the node before (or < 0)."""
        from scipy.sparse.csgraph import dijkstra

        self.steps += len(self.names)
        delay, previous = dijkstra(self._delays, indices=[self.at[start]], return_predecessors=True)
        return delay[0], previous[0]

    def _cell(self, row: int, column: int) -> int:
        first, last = self._delays.indptr[row], self._delays.indptr[row + 1]
        return int(first + np.searchsorted(self._delays.indices[first:last], column))
