"""Nights that offer the same, and what one of them can hold at most: the rows of the bound on waves.

Nights in which the same jobs find their windows open are of one kind; of all nights of a kind the best counts for each
limit, so that no night holds more than its kind is said to hold.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import networkx as nx

from planner.rollout.nights import Opening
from planner.rollout.project import Project
from planner.rollout.sheet import Sheet

CREWS, PLACES, LIMITS = "crews", "free places", "limits on hosts, regions and crews"  # families of rows
_ROWS = 60  # most groups of windows for each resource


@dataclass(frozen=True)
class Row:
    """At most ``most`` of ``jobs`` in one night, each counting ``amounts``; ``family`` says in words what limits."""

    jobs: tuple[int, ...]
    amounts: tuple[int, ...]
    most: int
    family: str


@dataclass(frozen=True)
class NightKind:
    """``opened``: the kinds of jobs that such nights are open to. ``example`` is one of the nights."""

    opened: frozenset[int]
    example: int
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class NightKinds:
    """All kinds of nights of a project, but those that offer no more than others.

    ``places``: count how often free places can be handed on; not where detours bring places from elsewhere.
    """

    sheet: Sheet
    places: bool = True

    @property
    def _project(self) -> Project:
        return self.sheet.project

    @cached_property
    def kinds(self) -> list[NightKind]:
        """The kinds, each with its rows."""
        nights: dict[frozenset[int], list[int]] = {}
        for night in self._project.nights:
            opened = frozenset(self.sheet.spans(night).kind.tolist())
            if opened:
                nights.setdefault(opened, []).append(night)
        largest = [one for one in nights if not any(one < other for other in nights)]
        found = []
        for opened in sorted(largest, key=lambda one: nights[one][0]):
            among = [night for one, several in nights.items() if one <= opened for night in several]
            found.append(NightKind(opened, nights[opened][0], tuple(self._rows(opened, among))))
        return found

    def _rows(self, opened: frozenset[int], nights: Sequence[int]) -> Iterable[Row]:
        shapes = {self._shape(opened, night): night for night in nights}
        different = sorted(shapes.values())
        for resource, (jobs, amounts) in self._users.items():
            here = [(at, n) for at, n in zip(jobs, amounts, strict=True) if int(self.sheet.kind[at]) in opened]
            if here:
                yield from self._work(resource, here, different)
        for moves, holes in self._parts if self.places else ():
            here = [(at, n) for at, n in moves if int(self.sheet.kind[at]) in opened]
            steps = max((self._steps(here, night) for night in different), default=0) if here else 0
            if here and holes * steps < sum(n for _, n in here):
                yield Row(tuple(at for at, _ in here), tuple(n for _, n in here), holes * steps, PLACES)

    def has(self, family: str) -> bool:
        """Say whether any limit of this family could ever be felt."""
        if family == LIMITS:
            return bool(self._project.quota)
        return any(row.family == family for kind in self.kinds for row in kind.rows)

    @cached_property
    def _limits(self) -> dict[frozenset[int], list[Row]]:
        first = {job.owner: at for at, job in reversed(list(enumerate(self.sheet.jobs))) if job.owner}
        return {kind.opened: [*kind.rows, *self.quotas(kind, first.values())] for kind in self.kinds}

    def limits(self, night: int) -> list[Row]:
        """Return all rows that hold for ``night``; of a site with several jobs one counts."""
        opened = set(self.sheet.opened(night).tolist())
        return next((rows for kind, rows in self._limits.items() if opened <= kind), [])

    def quotas(self, kind: NightKind, firsts: Collection[int]) -> list[Row]:
        """Return the quotas as rows, which count one job of each site: ``firsts``."""
        members: dict[str, list[int]] = {}
        for at in sorted(firsts):
            for quota in self.sheet.jobs[at].quotas if int(self.sheet.kind[at]) in kind.opened else ():
                members.setdefault(quota, []).append(at)
        limits = ((jobs, self._project.quota.get(quota), quota) for quota, jobs in members.items())
        return [
            Row(tuple(jobs), (1,) * len(jobs), most, LIMITS)
            for jobs, most, quota in limits
            if most is not None and most < len(jobs)
        ]

    def _shape(self, opened: frozenset[int], night: int) -> tuple[tuple[int, int, int], ...]:
        """Return what a night offers, but for its date."""
        spans = self.sheet.spans(night)
        if not len(spans.kind):
            return ()
        first = int(spans.first.min())
        rows = zip(spans.kind.tolist(), (spans.first - first).tolist(), (spans.last - first).tolist(), strict=True)
        return tuple(row for row in rows if row[0] in opened)

    @cached_property
    def _users(self) -> dict[str, tuple[list[int], list[int]]]:
        found: dict[str, tuple[list[int], list[int]]] = {}
        for at, job in enumerate(self.sheet.jobs):
            for resource, amount in job.uses:
                jobs, amounts = found.setdefault(resource, ([], []))
                jobs.append(at)
                amounts.append(amount)
        return {resource: rows for resource, rows in found.items() if len(rows[0]) > 1}

    def _work(self, resource: str, users: Sequence[tuple[int, int]], nights: Sequence[int]) -> Iterable[Row]:
        """Yield what one resource can do, in all windows and in those that lie within two moments of the night."""
        by_kind: dict[int, list[tuple[int, int]]] = {}
        for at, amount in users:
            by_kind.setdefault(int(self.sheet.kind[at]), []).append((at, amount))
        for group in sorted(self._within(by_kind, nights[0]), key=lambda one: (-len(one), sorted(one)))[:_ROWS]:
            members = [pair for kind in sorted(group) for pair in by_kind[kind]]
            least = min(self.sheet.jobs[at].minutes for at, _ in members)
            at_once = self._project.capacity[resource] // min(n for _, n in members)
            slots = at_once * max(self._slots(group, least, night) for night in nights)
            jobs = tuple(at for at, _ in members)
            if slots < len(members):
                yield Row(jobs, (1,) * len(members), slots, CREWS)
            work = tuple(self.sheet.jobs[at].minutes * n for at, n in members)
            most = self._project.capacity[resource] * max(self._slots(group, 1, night) for night in nights)
            if most < sum(work) and len(set(work)) > 1:
                yield Row(jobs, work, most, CREWS)

    def _within(self, kinds: Collection[int], night: int) -> set[frozenset[int]]:
        """Return all kinds, and those whose windows lie between the start of one and the end of another."""
        spans = {kind: opened for kind in kinds if (opened := self._openings(kind, night))}
        begins = {kind: opened[0].start for kind, opened in spans.items()}
        ends = {kind: opened[-1].end for kind, opened in spans.items()}
        found = {frozenset(kinds)}
        for first in set(begins.values()):
            for last in set(ends.values()):
                found.add(frozenset(kind for kind in spans if first <= begins[kind] and ends[kind] <= last))
        return found - {frozenset()}

    def _openings(self, kind: int, night: int) -> tuple[Opening, ...]:
        job = self.sheet.jobs[self.sheet.sample[kind]]
        return tuple(o for o in job.openings(night) if o.end - o.start >= job.minutes)

    def _slots(self, kinds: Iterable[int], minutes: int, night: int) -> int:
        """Return how many jobs of so many ``minutes`` fit one after the other into the windows of ``kinds``."""
        slots, begin, end = 0, 0, -1
        for opening in sorted((o for kind in kinds for o in self._openings(kind, night)), key=lambda o: o.start):
            if opening.start > end:
                slots += max(0, end - begin) // minutes
                begin = opening.start
            end = max(end, opening.end)
        return slots + max(0, end - begin) // minutes

    @cached_property
    def _parts(self) -> list[tuple[list[tuple[int, int]], int]]:
        """Return groups of moves that share hosts, with their sizes, and how many places are free there at some time.

        A move takes a free place from its target to its source, so a place is handed on once for each move.
        """
        hosts = {name: free for name, free in self._project.room.items() if not name.startswith("uplink of ")}
        graph: nx.Graph[tuple[str, int | str]] = nx.Graph()
        for at, job in enumerate(self.sheet.jobs):
            graph.add_edges_from((("job", at), ("host", h)) for h, _ in (*job.takes, *job.gives) if h in hosts)
        found = []
        for part in nx.connected_components(graph):
            jobs = sorted(at for what, at in part if what == "job" and isinstance(at, int))
            takes = {at: sum(n for h, n in self.sheet.jobs[at].takes if h in hosts) for at in jobs}
            gives = {at: sum(n for h, n in self.sheet.jobs[at].gives if h in hosts) for at in jobs}
            holes = sum(hosts[str(h)] for what, h in part if what == "host")
            holes += sum(max(0, gives[at] - takes[at]) for at in jobs)
            found.append(([(at, takes[at]) for at in jobs if takes[at]], holes))
        return found

    def _steps(self, jobs: Sequence[tuple[int, int]], night: int) -> int:
        kinds = {int(self.sheet.kind[at]) for at, _ in jobs}
        return self._slots(kinds, min(self.sheet.jobs[at].minutes for at, _ in jobs), night)
