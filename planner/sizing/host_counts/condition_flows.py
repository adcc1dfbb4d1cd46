"""The flow network of a Hall condition, its maximum flows, and the cuts that a flow which lacks something shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from ortools.graph.python import max_flow

from planner.arrays import falses, int_array, int_zeros
from planner.errors import SolverError
from planner.fleet import Bools, Ints

if TYPE_CHECKING:
    from planner.sizing.host_counts.hall_conditions import Cut, HallCondition


class Network:
    """The flow network of a condition, source to classes to pools to sink; only the room of the pools changes."""

    def __init__(self, condition: HallCondition) -> None:
        classes = condition.classes  # the condition itself would keep both alive: it has this network
        kinds = len(condition.demand)
        pools = len(condition.room)
        places = pools + len(condition.limits)  # behind the classes: pools, then limits
        self.source = kinds + places
        self.sink = kinds + places + 1
        # The last drain is the sink.
        last = condition.laminar_parents == places
        after = np.where(last, self.sink, kinds + condition.laminar_parents)
        place = kinds + np.arange(places)
        self.flows = max_flow.SimpleMaxFlow()
        add = self.flows.add_arcs_with_capacity
        asking = np.flatnonzero(condition.demand)
        from_source = np.full(len(asking), self.source)
        add(from_source, asking, condition.demand[asking])
        of_arc = classes.of_arc[condition.arcs]
        pool = classes.pool[condition.arcs]
        self.pairs = add(of_arc, place[pool], condition.demand[of_arc])
        nothing = int_zeros(pools)
        self.rooms = add(place[:pools], after[:pools], nothing)
        if condition.limits:
            most = int_array([most for _, most in condition.limits])
            add(place[pools:], after[pools:], most)

    def solve(self, condition: HallCondition, hosts: Ints) -> Flow:
        """Return the maximum flow of ``condition``, whose network it is; SolverError when the flow code fails."""
        room = condition.room * hosts
        self.flows.set_arcs_capacity(self.rooms, room)
        status = self.flows.solve(self.source, self.sink)
        if status != self.flows.OPTIMAL:
            raise SolverError(f"the solver of network flows failed (status {status})")
        value = int(self.flows.optimal_flow())
        spare = room - self._on(self.rooms)
        source_side = falses(self.sink + 1)
        sink_side = ~source_side
        if value < condition.demand.sum():
            source_side = self._marked(self.flows.get_source_side_min_cut())
            sink_side = self._marked(self.flows.get_sink_side_min_cut())
        return Flow(condition, hosts, value, room, spare, source_side, sink_side)

    def on_pairs(self) -> Ints:
        """Return the last flow on the arcs from classes to pools."""
        return self._on(self.pairs)

    def _on(self, arcs: Ints) -> Ints:
        return np.asarray(self.flows.flows(arcs), dtype=np.int64)

    def _marked(self, nodes: Sequence[int]) -> Bools:
        marked = falses(self.sink + 1)
        marked[np.asarray(nodes, dtype=np.int64)] = True
        return marked


@dataclass(frozen=True)
class Flow:
    """A maximum flow of a condition with ``hosts`` (P,).

    ``room`` (P,) of the pools, ``spare`` (P,) what is left of it. ``source_side``: nodes (classes, then pools) that
    unserved demand can still reach, the minimal minimum cut. ``sink_side``: nodes from which spare room can be reached;
    its complement is the maximal minimum cut.
    """

    condition: HallCondition
    hosts: Ints
    value: int
    room: Ints
    spare: Ints
    source_side: Bools
    sink_side: Bools

    @property
    def missing(self) -> int:
        """Demand that the hosts cannot take."""
        return int(self.condition.demand.sum()) - self.value

    @cached_property
    def min_cut(self) -> Bools:
        """Pools at which another host would take more of the demand, shape (P,)."""
        kinds = len(self.condition.demand)
        pools = len(self.condition.room)
        after = self.condition.laminar_parents[:pools]
        limits = kinds + pools + len(self.condition.limits)
        # What lies behind a pool is the sink, which is marked, or a limit.
        reaches_sink = np.append(self.sink_side[kinds:limits], True)
        reached = self.source_side[kinds : kinds + pools]
        min_cut: Bools = reached & reaches_sink[after]
        return min_cut

    def cuts(self) -> Iterator[Cut]:
        """Yield cuts that the hosts fail: the minimal and the maximal minimum cut."""
        kinds = len(self.condition.demand)
        asking = self.condition.demand > 0
        least = self.source_side[:kinds] & asking
        most = ~self.sink_side[:kinds] & asking
        for inside in (least,) if np.array_equal(least, most) else (least, most):
            yield self.condition.cut_at(np.flatnonzero(inside), self.hosts)
