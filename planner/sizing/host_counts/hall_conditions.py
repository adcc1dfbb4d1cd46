"""Necessary conditions on host counts, as flows: each asks whether classes can send their demand to pools.

Condition "clusters": class c sends k_c s_c clusters, pool p takes C_p n_p. For sites of one cluster it is also
sufficient. Condition "size t": class c with k_c >= t sends s_c items, pool p takes floor(C_p / t) n_p.
A cut of a condition is Hall's condition in its deficiency form: a set S of classes and all pools N(S) they can
use need  sum_{p in N(S)} room_p n_p >= demand(S). Limits on the clusters of nested sets of pools are arcs behind the
pools; a limit B that is in the cut takes the place of its pools, and B comes off the demand.

Sources: P. Hall, "On representatives of subsets", J. London Math. Soc. 10 (1935) 26-30; O. Ore, "Graphs and
matching theorems", Duke Math. J. 22 (1955) 625-639; cuts by max-flow min-cut, L. R. Ford, D. R. Fulkerson,
Canadian J. Math. 8 (1956) 399-404.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from ortools.graph.python import max_flow

from planner.arrays import falses, int_array, int_zeros
from planner.errors import SolverError
from planner.fleet import Bools, Ints
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.limits import laminar_parents
from planner.sizing.instance.problem import Problem

_FEW = 50  # classes whose pools are put together one by one: there may be many arcs


@dataclass(frozen=True)
class Cut:
    """A set of classes and the pools they can use: ``room`` (P,) is 0 outside; needs ``room @ n >= demand``."""

    condition: int
    size: int  # items of as many clusters or more are counted; 1: clusters are
    classes: Ints
    room: Ints
    demand: int

    def shortfall(self, hosts: Ints) -> int:
        """Return by how much ``hosts`` (P,) fails the cut; 0 or less when it holds."""
        return self.demand - int(self.room @ hosts)


@dataclass(frozen=True)
class HallCondition:
    """One flow condition. ``demand`` (K,) of each class, 0 for those it does not ask; ``room`` (P,) of one host.

    Each of ``limits`` is a set of pools (P,) and the clusters that they take together; the sets are nested.
    """

    index: int
    size: int
    classes: Classes
    demand: Ints
    room: Ints
    limits: tuple[tuple[Bools, int], ...] = field(default=(), kw_only=True)

    @cached_property
    def laminar_parents(self) -> Ints:
        """Where each pool, then each limit, sends what it takes, shape (P + L,); see `instance.limits`."""
        return laminar_parents([pools for pools, _ in self.limits], len(self.room))

    @cached_property
    def _arcs(self) -> Ints:
        return np.flatnonzero(self.demand[self.classes.of_arc] > 0)

    @cached_property
    def _network(self) -> _Network:
        return _Network(self)

    def flow(self, hosts: Ints) -> Flow:
        """Return a maximum flow with ``hosts`` (P,) running."""
        return self._network.solve(hosts)

    def sent(self, hosts: Ints) -> Ints:
        """Return what a maximum flow sends on each arc, shape (A,)."""
        self._network.solve(hosts)
        sent = int_zeros(len(self.classes.pool))
        sent[self._arcs] = self._network.on_pairs()
        return sent

    def cut(self, classes: Ints) -> Cut:
        """Return the cut of a set of classes."""
        indptr, pool = self.classes.indptr, self.classes.pool
        if 0 < len(classes) <= _FEW:
            pools = np.concatenate([pool[indptr[c] : indptr[c + 1]] for c in classes.tolist()])
        else:
            inside = falses(len(self.demand))
            inside[classes] = True
            pools = pool[inside[self.classes.of_arc]]
        room = np.zeros_like(self.room)
        room[pools] = self.room[pools]
        return Cut(self.index, self.size, classes, room, int(self.demand[classes].sum()))

    def cut_at(self, classes: Ints, hosts: Ints) -> Cut:
        """Return the cut of a set of classes that ``hosts`` (P,) fails worst, of those with and without each limit.

        Where a limit B says less than n hosts of cap C at its pools, it takes their place, and what it lets through
        comes off the demand: B, or f (C - r) + r n with f = floor(B / C) and r = B - f C, which is min(C n, B) at
        n = f and n = f + 1 and not below it at any other whole n.
        """
        plain = self.cut(classes)
        if not self.limits:
            return plain
        room = plain.room.copy()
        taken = np.concatenate((room * hosts, int_zeros(len(self.limits) + 1)))
        full: list[int] = []
        np.add.at(taken, self.laminar_parents[: len(room)], taken[: len(room)])
        for i in sorted(range(len(self.limits)), key=lambda i: int(self.limits[i][0].sum())):
            node, (inside, most) = len(room) + i, self.limits[i]
            if most < taken[node]:
                taken[node] = most
                full = [other for other in full if not inside[self.limits[other][0]].any()] + [i]
            taken[self.laminar_parents[node]] += taken[node]
        demand = plain.demand
        for i in full:
            inside, most = self.limits[i]
            mine = inside & (room > 0)
            cap, running = int(room[mine].max(initial=0)), int(hosts[mine].sum())
            whole, rest = divmod(most, max(1, cap))
            rounded = (room[mine] == cap).all() and running == whole + 1
            room[mine] = rest if rounded else 0
            demand -= whole * (cap - rest) if rounded else most
        return replace(plain, room=room, demand=demand)

    def first_cuts(self) -> list[Cut]:
        """Return the cut of all classes, and the one in which each limit takes the place of its pools."""
        everybody = np.flatnonzero(self.demand)
        just_over = np.zeros_like(self.room)
        for inside, most in sorted(self.limits, key=lambda limit: int(limit[0].sum())):
            if not just_over[inside].any():
                pool = int(np.argmax(inside))
                just_over[pool] = most // max(1, int(self.room[pool])) + 1
        return [self.cut(everybody), *([self.cut_at(everybody, just_over)] if self.limits else [])]

    def confined_classes(self, most: int) -> list[Cut]:
        """Return cuts of classes whose pools hold all pools of no other class: who meets them has few others to meet.

        The smallest sets of pools come first, at most ``most`` of them.
        """
        choices = np.diff(self.classes.indptr)
        left = np.flatnonzero((self.demand > 0) & (choices > 0))
        left = left[np.argsort(choices[left], kind="stable")]
        used = falses((len(self.demand), -(-len(self.room) // 64) * 64))
        used[self.classes.of_arc, self.classes.pool] = True
        # 64 pools to a number, shape (numbers, classes left)
        lacks = np.ascontiguousarray(~np.packbits(used, axis=1).view(np.uint64)[left].T)
        found: list[Cut] = []
        while len(left) and len(found) < most:
            mine = ~lacks[:, 0]
            lacking = np.zeros(len(left), dtype=np.uint64)
            for word in np.flatnonzero(mine):
                lacking |= mine[word] & lacks[word]
            holds = lacking == 0
            found.append(self.cut(left[holds & (choices[left] == choices[left[0]])]))
            left, lacks = left[~holds], lacks[:, ~holds]
        return found

    def short_classes(self, hosts: Ints, most: int) -> list[Cut]:
        """Return the cuts of single classes that fail worst, at most ``most`` of them."""
        pools = self.classes.pool
        room = np.bincount(self.classes.of_arc, weights=(self.room * hosts)[pools], minlength=len(self.demand))
        short = self.demand - room
        worst = np.argsort(-short, kind="stable")[:most]
        return [self.cut(np.array([c])) for c in worst if short[c] > 0]


class _Network:
    """The flow network of a condition, source to classes to pools to sink; only the room of the pools changes."""

    def __init__(self, condition: HallCondition) -> None:
        self.condition = condition
        kinds, pools = len(condition.demand), len(condition.room)
        asking = np.flatnonzero(condition.demand)
        self.source, self.sink = kinds + pools + len(condition.limits), kinds + pools + len(condition.limits) + 1
        # The last drain is the sink.
        after = np.where(
            condition.laminar_parents == pools + len(condition.limits), self.sink, kinds + condition.laminar_parents
        )
        of_arc, pool = condition.classes.of_arc[condition._arcs], condition.classes.pool[condition._arcs]
        self.flows = max_flow.SimpleMaxFlow()
        self.flows.add_arcs_with_capacity(np.full(len(asking), self.source), asking, condition.demand[asking])
        self.pairs = self.flows.add_arcs_with_capacity(of_arc, kinds + pool, condition.demand[of_arc])
        self.rooms = self.flows.add_arcs_with_capacity(kinds + np.arange(pools), after[:pools], int_zeros(pools))
        if condition.limits:
            most = int_array([most for _, most in condition.limits])
            self.flows.add_arcs_with_capacity(kinds + pools + np.arange(len(most)), after[pools:], most)

    def solve(self, hosts: Ints) -> Flow:
        """Return the maximum flow; SolverError when the flow code fails."""
        room = self.condition.room * hosts
        self.flows.set_arcs_capacity(self.rooms, room)
        status = self.flows.solve(self.source, self.sink)
        if status != self.flows.OPTIMAL:
            raise SolverError(f"the solver of network flows failed (status {status})")
        value = int(self.flows.optimal_flow())
        spare = room - np.asarray(self.flows.flows(self.rooms), dtype=np.int64)
        source_side = falses(self.sink + 1)
        sink_side = ~source_side
        if value < self.condition.demand.sum():
            source_side = self._marked(self.flows.get_source_side_min_cut())
            sink_side = self._marked(self.flows.get_sink_side_min_cut())
        return Flow(self.condition, hosts, value, room, spare, source_side, sink_side)

    def on_pairs(self) -> Ints:
        """Return the last flow on the arcs from classes to pools."""
        return np.asarray(self.flows.flows(self.pairs), dtype=np.int64)

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
        kinds, pools = len(self.condition.demand), len(self.condition.room)
        after = self.condition.laminar_parents[:pools]
        # What lies behind a pool is the sink, which is marked, or a limit.
        behind = np.append(self.sink_side[kinds : kinds + pools + len(self.condition.limits)], True)[after]
        min_cut: Bools = self.source_side[kinds : kinds + pools] & behind
        return min_cut

    def cuts(self) -> Iterator[Cut]:
        """Yield cuts that the hosts fail: connected parts of the minimal and of the maximal minimum cut."""
        kinds = len(self.condition.demand)
        asking = self.condition.demand > 0
        least, most = self.source_side[:kinds] & asking, ~self.sink_side[:kinds] & asking
        for inside in (least,) if np.array_equal(least, most) else (least, most):
            for part in self._failing_parts(inside):
                yield self.condition.cut_at(part, self.hosts)
            if self.condition.limits:  # sets that share no pool may share a limit
                yield self.condition.cut_at(np.flatnonzero(inside), self.hosts)

    def _failing_parts(self, inside: Bools) -> list[Ints]:
        """Return sets of the classes ``inside`` (K,) that lack room; those that share a pool are together.

        Under limits all sets, as a limit may be what they lack.
        """
        classes = self.condition.classes
        members, pool = np.flatnonzero(inside), classes.pool[inside[classes.of_arc]]
        lengths = np.diff(classes.indptr)[members]
        if (lengths == 0).any():  # nothing can take these
            return [members[lengths == 0]]
        first = np.cumsum(lengths) - lengths
        of_pool, before = np.arange(len(self.room)), None
        while before is None or (of_pool != before).any():  # each takes the least label that it meets
            before = of_pool
            label = np.minimum.reduceat(before[pool], first)
            of_pool = before.copy()
            np.minimum.at(of_pool, pool, np.repeat(label, lengths))
        used = np.unique(pool)
        lack = np.bincount(label, weights=self.condition.demand[members], minlength=len(of_pool))
        lack -= np.bincount(of_pool[used], weights=self.room[used], minlength=len(of_pool))
        failing = lack > 0 if not self.condition.limits else np.bincount(label, minlength=len(of_pool)) > 0
        return [members[label == part] for part in np.flatnonzero(failing)]


def hall_conditions(problem: Problem, classes: Classes) -> tuple[HallCondition, ...]:
    """Return the conditions that host counts must meet, the one on clusters first."""
    limits = tuple((limit.pools, int(limit.most)) for limit in problem.limits if problem.flows)
    found = [HallCondition(0, 1, classes, classes.demand * classes.items, problem.caps, limits=limits)]
    for size in np.unique(classes.items[classes.multi_cluster]).tolist():
        # Where every cap is a multiple of the size, counting clusters already says as much.
        if np.any(problem.caps % size):
            demand = np.where(classes.items >= size, classes.size, 0)
            found.append(HallCondition(len(found), size, classes, demand, problem.caps // size))
    return tuple(found)
