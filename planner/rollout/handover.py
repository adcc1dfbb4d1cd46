"""Which move takes the place that which other move frees: an order of moves in which no host is ever overfull.

A move holds its place on both hosts while it lasts, so it needs room on its target before it starts. Read backwards, a
free place (a hole) walks against the moves: the move u -> v takes the hole at v and leaves one at u. Giving every move
the holes it takes, free from the start or left by other moves, makes the caps a matter of precedence alone: in any
order that keeps it, no host is above its cap.

For sites of one cluster each the order is found whenever there is one. Let a host's room be f >= 0 before and
f' = f + leaving - arriving >= 0 after. Take holes greedily until nothing fits. Each host that is still waited for has
no hole, so f' >= 0 says that as many moves leave it as wait for it, summing up that all remaining moves start from such
hosts: what remains is Eulerian. A closed trail of it that touches a host where a hole once was is walked by that hole
first (the splicing of C. Hierholzer, Mathematische Annalen 6 (1873) 30-32). So only parts without any hole stay stuck:
whole weak components of the moves whose hosts are all full. Those are the circles of `planner.rollout.circles`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import networkx as nx

# A place on a host or an uplink: amount, and the move that left it (None: free from the start).
Hole = tuple[int, int | None]


@dataclass(frozen=True, slots=True)
class Change:
    """One site that changes host: ``source`` or ``target`` is None where it has none before or after.

    ``size`` is its clusters, ``traffic`` their kb/s in whole numbers.
    """

    site: str
    source: str | None
    target: str | None
    size: int = 1
    traffic: int = 0


@dataclass
class Handover:
    """The order while it is made. ``after`` maps a change, by position, to those whose place it takes.

    ``holes`` are the places that nobody has taken. A place without a limit is not in ``holes``. ``uplink`` names the
    place of each host's hub uplink, where that may limit something.
    """

    changes: list[Change]
    holes: dict[str, deque[Hole]]
    uplink: Mapping[str, str] = field(default_factory=dict)
    after: dict[int, set[int]] = field(default_factory=dict)

    @classmethod
    def of(cls, changes: Sequence[Change], room: Mapping[str, int], uplink: Mapping[str, str]) -> Handover:
        """Start with ``room`` free on hosts and uplinks."""
        holes: dict[str, deque[Hole]] = {n: deque([(free, None)] if free > 0 else []) for n, free in room.items()}
        return cls(list(changes), holes, uplink)

    def copy(self, places: Iterable[str] | None = None) -> Handover:
        """Return a copy, of these ``places`` only, that shares the changes."""
        kept = self.holes if places is None else [place for place in sorted(places) if place in self.holes]
        return Handover(
            self.changes, {place: deque(self.holes[place]) for place in kept}, self.uplink, dict(self.after)
        )

    def takes(self, at: int) -> list[tuple[str, int]]:
        """Return the places that change ``at`` needs: (host or uplink, amount)."""
        return self.taken_by(self.changes[at])

    def gives(self, at: int) -> list[tuple[str, int]]:
        """Return the places that change ``at`` leaves."""
        return self.given_by(self.changes[at])

    def taken_by(self, change: Change) -> list[tuple[str, int]]:
        """Return the places that ``change`` needs, as `takes`."""
        return self._places(change, change.target, change.source)

    def given_by(self, change: Change) -> list[tuple[str, int]]:
        """Return the places that ``change`` leaves, as `gives`."""
        return self._places(change, change.source, change.target)

    def _places(self, change: Change, host: str | None, other: str | None) -> list[tuple[str, int]]:
        places = [] if host is None or change.size == 0 else [(host, change.size)]
        uplink = self.uplink.get(host or "")
        if uplink is not None and change.traffic and uplink != self.uplink.get(other or ""):
            places.append((uplink, change.traffic))
        return places

    def simple(self, at: int) -> bool:
        """Say whether a hole on a host is all that change ``at`` takes or gives: one cluster and no uplink."""
        return self.changes[at].size == 1 and len(self.takes(at)) < 2 and len(self.gives(at)) < 2

    def free(self, place: str) -> float:
        """Return what is free at ``place`` once everything in the order is done; inf where nothing limits it."""
        return sum(amount for amount, _ in self.holes[place]) if place in self.holes else float("inf")

    def fits(self, at: int) -> bool:
        """Say whether change ``at`` finds its places."""
        return all(self.free(place) >= amount for place, amount in self.takes(at))

    def do(self, at: int) -> None:
        """Append a change that fits."""
        taken: set[int] = set()
        for place, amount in self.takes(at):
            taken |= self._take(place, amount)
        self.after[at] = taken
        for place, amount in self.gives(at):
            if place in self.holes:
                self.holes[place].append((amount, at))

    def _take(self, place: str, amount: int) -> set[int]:
        takers: set[int] = set()
        holes = self.holes.get(place)
        while holes is not None and amount:
            size, left_by = holes.popleft()
            if size > amount:
                holes.appendleft((size - amount, left_by))
            amount -= min(size, amount)
            if left_by is not None:
                takers.add(left_by)
        return takers

    def touched(self, host: str) -> bool:
        """Say whether a hole is at ``host`` at some time."""
        return self.free(host) > 0 or any(self._arrives(at, host) for at in self.after)

    def splice(self, host: str, chain: Sequence[int]) -> None:
        """Let a hole at ``host`` walk along ``chain`` first: the first change takes it, the last gives it back.

        All changes of the chain are simple, and each but the first takes the place of the one before it.
        """
        for before, at in pairwise(chain):
            self.after[at] = {before}
        if self.free(host) > 0:
            self.after[chain[0]] = self._take(host, 1)
            if host in self.holes:
                self.holes[host].append((1, chain[-1]))
            return
        first = next(at for at in self.after if at not in chain and self._arrives(at, host))
        self.after[chain[0]] = self.after[first]
        self.after[first] = {chain[-1]}

    def _arrives(self, at: int, host: str) -> bool:
        return self.changes[at].target == host and self.simple(at)


def greedy(handover: Handover, among: Iterable[int], rank: Mapping[int, float] | None = None) -> list[int]:
    """Do of the changes ``among`` what fits, in rounds; return those that do not.

    In a round, changes for which others wait at their source go first, then large ones; ``rank`` goes before both.
    """
    waiting = list(among)
    while True:
        pressure: dict[str, int] = {}
        for at in waiting:
            for place, amount in handover.takes(at):
                pressure[place] = pressure.get(place, 0) + amount

        def order(at: int, pressure: Mapping[str, int] = pressure) -> tuple[float, float, int, int]:
            change = handover.changes[at]
            lack = max((pressure.get(p, 0) - handover.free(p) for p, _ in handover.gives(at)), default=0)
            return (rank[at] if rank else 0.0, -lack, -change.size, at)

        left = []
        for at in sorted(waiting, key=order):
            if handover.fits(at):
                handover.do(at)
            else:
                left.append(at)
        if len(left) == len(waiting):
            return sorted(left)
        waiting = left


def walk(changes: Sequence[Change], among: Sequence[int], start: str, end: str | None = None) -> list[int]:
    """Return ``among`` as a hole at ``start`` walks along all of them, to ``end`` or back to the start.

    They are connected, and Eulerian or one step short of it.
    """
    graph = nx.MultiDiGraph()
    graph.add_edges_from((changes[at].target, changes[at].source, at) for at in among)
    trail = nx.eulerian_path if end not in (None, start) else nx.eulerian_circuit
    return [key for _, _, key in trail(graph, source=start, keys=True)]


def components(handover: Handover, among: Iterable[int]) -> list[list[int]]:
    """Return the changes that share hosts or uplinks, directly or through others, as sorted lists."""
    graph = nx.Graph()
    for at in among:
        graph.add_node(at)
        graph.add_edges_from((at, place) for place, _ in (*handover.takes(at), *handover.gives(at)))
    return sorted(sorted(n for n in part if isinstance(n, int)) for part in nx.connected_components(graph))


def closed(handover: Handover, among: Sequence[int]) -> bool:
    """Say whether the changes are simple, lead from host to host, and as many leave each host as join it."""
    balance: dict[str, int] = {}
    for at in among:
        change = handover.changes[at]
        if not handover.simple(at) or change.source is None or change.target is None:
            return False
        balance[change.source] = balance.get(change.source, 0) - 1
        balance[change.target] = balance.get(change.target, 0) + 1
    return not any(balance.values())


def settle(handover: Handover, among: Sequence[int]) -> list[int]:
    """Do the changes ``among`` and return those that stay stuck: none of simple ones unless no hole reaches them."""
    stuck: list[int] = []
    for part in components(handover, greedy(handover, among)):
        hosts = sorted({h for at in part if (h := handover.changes[at].target) is not None})
        start = next((host for host in hosts if handover.touched(host)), None) if closed(handover, part) else None
        if start is None:
            stuck.extend(part)
        else:
            handover.splice(start, walk(handover.changes, part, start))
    return stuck
