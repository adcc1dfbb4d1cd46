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

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from planner.arrays import falses, int_zeros
from planner.fleet import Bools, Ints
from planner.sizing.host_counts.condition_flows import Flow, Network
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.load_limits import laminar_parents
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
        """Where each pool, then each limit, sends what it takes, shape (P + L,); see `instance.load_limits`."""
        sets = [pools for pools, _ in self.limits]
        return laminar_parents(sets, len(self.room))

    @cached_property
    def arcs(self) -> Ints:
        """The arcs of classes that ask for something, ascending."""
        return np.flatnonzero(self.demand[self.classes.of_arc] > 0)

    @cached_property
    def _network(self) -> Network:
        return Network(self)

    def flow(self, hosts: Ints) -> Flow:
        """Return a maximum flow with ``hosts`` (P,) running."""
        return self._network.solve(self, hosts)

    def sent(self, hosts: Ints) -> Ints:
        """Return what a maximum flow sends on each arc, shape (A,)."""
        self._network.solve(self, hosts)
        sent = int_zeros(len(self.classes.pool))
        sent[self.arcs] = self._network.on_pairs()
        return sent

    def cut(self, classes: Ints) -> Cut:
        """Return the cut of a set of classes."""
        pool = self.classes.pool
        if 0 < len(classes) <= _FEW:
            arcs = map(self.classes.arcs_of, classes.tolist())
            pools = np.concatenate([pool[mine] for mine in arcs])
        else:
            inside = falses(len(self.demand))
            inside[classes] = True
            pools = pool[inside[self.classes.of_arc]]
        room = np.zeros_like(self.room)
        room[pools] = self.room[pools]
        demand = int(self.demand[classes].sum())
        return Cut(self.index, self.size, classes, room, demand)

    def cut_at(self, classes: Ints, hosts: Ints) -> Cut:
        """Return the cut of a set of classes that ``hosts`` (P,) fails worst, of those with and without each limit.

        Where a limit B says less than n hosts of cap C at its pools, it takes their place, and what it lets through
        comes off the demand: B, or f (C - r) + r n with f = floor(B / C) and r = B - f C, which is min(C n, B) at
        n = f and n = f + 1 and not below it at any other whole n.
        """
        plain = self.cut(classes)
        if not self.limits:
            return plain
        room, demand = plain.room.copy(), plain.demand
        for i in self._full_limits(room * hosts):
            inside, most = self.limits[i]
            mine = inside & (room > 0)
            cap = int(room[mine].max(initial=0))
            running = int(hosts[mine].sum())
            whole, rest = divmod(most, max(1, cap))
            all_alike = (room[mine] == cap).all()
            rounded = all_alike and running == whole + 1
            room[mine] = rest if rounded else 0
            demand -= whole * (cap - rest) if rounded else most
        return replace(plain, room=room, demand=demand)

    def _full_limits(self, room: Ints) -> list[int]:
        """Return the limits, by number, that let through less than ``room`` (P,) and smaller limits bring to them."""
        pools, parents = len(room), self.laminar_parents
        behind = int_zeros(len(self.limits) + 1)
        taken = np.concatenate((room, behind))
        np.add.at(taken, parents[:pools], room)
        full: list[int] = []
        for i in self._smallest_first:
            node, (inside, most) = pools + i, self.limits[i]
            if most < taken[node]:
                taken[node] = most
                full = [other for other in full if not inside[self.limits[other][0]].any()]
                full.append(i)
            taken[parents[node]] += taken[node]
        return full

    @cached_property
    def _smallest_first(self) -> list[int]:
        """The limits by number, those of the fewest pools first."""
        sizes = [int(inside.sum()) for inside, _ in self.limits]
        return sorted(range(len(sizes)), key=sizes.__getitem__)

    def first_cuts(self) -> list[Cut]:
        """Return the cut of all classes, and the one in which each limit takes the place of its pools."""
        everybody = np.flatnonzero(self.demand)
        found = [self.cut(everybody)]
        just_over = np.zeros_like(self.room)
        for i in self._smallest_first:
            inside, most = self.limits[i]
            if not just_over[inside].any():
                pool = int(np.argmax(inside))
                full = most // max(1, int(self.room[pool]))
                just_over[pool] = full + 1
        if self.limits:
            found.append(self.cut_at(everybody, just_over))
        return found

    def confined_classes(self, most: int) -> list[Cut]:
        """Return cuts of classes whose pools hold all pools of no other class: who meets them has few others to meet.

        The smallest sets of pools come first, at most ``most`` of them.
        """
        choices = np.diff(self.classes.indptr)
        left = np.flatnonzero((self.demand > 0) & (choices > 0))
        left = left[np.argsort(choices[left], kind="stable")]
        numbers = -(-len(self.room) // 64)
        used = falses((len(self.demand), numbers * 64))
        used[self.classes.of_arc, self.classes.pool] = True
        # 64 pools to a number, shape (numbers, classes left)
        packed = np.packbits(used, axis=1).view(np.uint64)
        lacks = np.ascontiguousarray(~packed[left].T)
        found: list[Cut] = []
        while len(left) and len(found) < most:
            mine = ~lacks[:, 0]
            lacking = np.zeros(len(left), dtype=np.uint64)
            for word in np.flatnonzero(mine):
                lacking |= mine[word] & lacks[word]
            holds = lacking == 0
            alike = holds & (choices[left] == choices[left[0]])
            found.append(self.cut(left[alike]))
            left = left[~holds]
            lacks = lacks[:, ~holds]
        return found


def hall_conditions(problem: Problem, classes: Classes) -> tuple[HallCondition, ...]:
    """Return the conditions that host counts must meet, the one on clusters first."""
    counted = problem.limits if problem.flows else ()
    limits = tuple((limit.pools, int(limit.most)) for limit in counted)
    clusters = classes.demand * classes.items
    found = [HallCondition(0, 1, classes, clusters, problem.caps, limits=limits)]
    for size in np.unique(classes.items[classes.multi_cluster]).tolist():
        # Where every cap is a multiple of the size, counting clusters already says as much.
        if np.any(problem.caps % size):
            demand = np.where(classes.items >= size, classes.size, 0)
            room = problem.caps // size
            found.append(HallCondition(len(found), size, classes, demand, room))
    return tuple(found)
