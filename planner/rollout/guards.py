"""Whether what is left can still be done once a job has taken its place: no order ends in a circle of full hosts.

Sites of one cluster: what is left goes on as long as every connected part of it has a free place somewhere
(`planner.rollout.handover` says why). Elsewhere an order is known in which all can be done, and a job is pulled forward
in it only where the jobs that it overtakes still find room (the safe states of E. W. Dijkstra, Cooperating Sequential
Processes (1965)).
"""

from __future__ import annotations

from copy import copy

import networkx as nx

from planner.fleet import Ints
from planner.rollout.sheet import Sheet


class Guard:
    """Says of a job whether it may take its places; ``coming`` has what rooms hold once all that runs has ended."""

    def __init__(self, sheet: Sheet, *, by_order: bool = False) -> None:
        """``by_order``: trust the known order alone, also for sites of one cluster."""
        self.sheet = sheet
        free = set() if by_order else _in_simple_parts(sheet)
        self.simple = [at in free for at in range(len(sheet.jobs))]
        self.place = {at: n for n, at in enumerate(sheet.project.sorted_jobs)}
        self.waiting = set(self.place)
        self.links: dict[int, dict[int, int]] = {}  # of rooms: how many jobs lead from one to the other
        self.leaks: dict[int, int] = {}  # of rooms: how many jobs free them and take no other
        self.touching: dict[int, list[int]] = {}
        for at in sorted(self.place, key=self.place.__getitem__):
            self._enter(at)

    def copy(self) -> Guard:
        """Return a copy, to try a night with."""
        other = copy(self)
        other.waiting, other.leaks = set(self.waiting), dict(self.leaks)
        other.links = {room: dict(links) for room, links in self.links.items()}
        return other

    def _enter(self, at: int) -> None:
        takes, gives = self.sheet.takes[at], self.sheet.gives[at]
        if not self.simple[at]:
            for room in dict.fromkeys(level for level, _ in (*takes, *gives)):
                self.touching.setdefault(room, []).append(at)
            return
        if gives and not takes:
            self.leaks[gives[0][0]] = self.leaks.get(gives[0][0], 0) + 1
        if takes and gives:
            for one, other in ((takes[0][0], gives[0][0]), (gives[0][0], takes[0][0])):
                links = self.links.setdefault(one, {})
                links[other] = links.get(other, 0) + 1

    def done(self, at: int) -> None:
        """Note that ``at`` has started."""
        self.waiting.discard(at)
        takes, gives = self.sheet.takes[at], self.sheet.gives[at]
        if not self.simple[at]:
            return
        if gives and not takes:
            self.leaks[gives[0][0]] -= 1
        if takes and gives:
            for one, other in ((takes[0][0], gives[0][0]), (gives[0][0], takes[0][0])):
                self.links[one][other] -= 1
                if not self.links[one][other]:
                    del self.links[one][other]

    def allows(self, at: int, coming: Ints) -> bool:
        """Say whether all that waits can still be done once ``at`` has started."""
        takes = self.sheet.takes[at]
        if not takes:
            return True
        if not self.simple[at]:
            return all(self._leaves_enough(at, room, amount, coming) for room, amount in takes)
        room = takes[0][0]
        return bool(coming[room] > 1) or self._reaches_a_place(at, room, coming)

    def _reaches_a_place(self, at: int, room: int, coming: Ints) -> bool:
        """Say whether what is linked to ``room`` without ``at`` has a free place, or is nothing."""
        gives = self.sheet.gives[at]
        freed = gives[0][0] if gives else None
        seen, heads = {room}, [room]
        while heads:
            head = heads.pop()
            if head != room and (coming[head] > 0 or head == freed):
                return True
            if self.leaks.get(head):
                return True
            for other, count in self.links.get(head, {}).items():
                alone = count == 1 and {head, other} == {room, freed}
                if other not in seen and not alone:
                    seen.add(other)
                    heads.append(other)
        return len(seen) == 1

    def _leaves_enough(self, at: int, room: int, amount: int, coming: Ints) -> bool:
        """Say whether the jobs before ``at`` in the known order still find ``room`` when it goes before them."""
        level = int(coming[room]) - amount
        for other in self.touching.get(room, ()):
            if other == at:
                return True
            if other in self.waiting:
                level -= sum(n for r, n in self.sheet.takes[other] if r == room)
                if level < 0:
                    return False
                level += sum(n for r, n in self.sheet.gives[other] if r == room)
        return True


def _in_simple_parts(sheet: Sheet) -> set[int]:
    """Return the jobs that share rooms only with jobs of one place each, of which none needs another."""
    graph: nx.Graph[tuple[str, int]] = nx.Graph()
    for at in range(len(sheet.jobs)):
        rooms = {room for room, _ in (*sheet.takes[at], *sheet.gives[at])}
        graph.add_edges_from((("job", at), ("room", room)) for room in rooms)
    found: set[int] = set()
    for part in nx.connected_components(graph):
        jobs = {at for what, at in part if what == "job"}
        if all(_is_simple(sheet, at, jobs) for at in jobs):
            found |= jobs
    return found


def _is_simple(sheet: Sheet, at: int, among: set[int]) -> bool:
    takes, gives = sheet.takes[at], sheet.gives[at]
    single = len(takes) < 2 and len(gives) < 2 and all(n == 1 for _, n in (*takes, *gives))
    return single and among.isdisjoint(sheet.jobs[at].needs)
