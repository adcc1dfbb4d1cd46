"""A schedule by priority: night by night, each job as early in it as limits and needs allow.

The serial generation scheme (J. E. Kelley, in Muth and Thompson, Industrial Scheduling (1963) 347-365) inside a night;
of the next nights the one on which most jobs could run is taken. Several priorities are tried.
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from planner.fleet import Ints
from planner.rollout.nights import Opening
from planner.rollout.project import Job, Project, Timetable

_AHEAD = 14  # nights among which the fullest is looked for
_DAY = 24 * 60
_LOOKED_AT = 400  # jobs that are followed to see whether one waits for another
_WORK = 12_000  # placements of jobs that all attempts together may take


def schedule_by_priority(project: Project, enough: int = 0) -> Timetable:
    """Return the best of several priority schedules; stops early at ``enough`` waves with every job in them.

    Its ``after`` may differ from that of the jobs: where a job could run at once, and the one that a place is meant for
    cannot, the two change places.
    """
    tails = _tails(project)
    chance = random.Random(0)
    best: Timetable | None = None
    for attempt in range(max(2, min(20, _WORK // max(1, len(project.jobs))))):
        noise = 0.0 if attempt < 2 else 0.5
        rank = [-tail * (1 + noise * chance.random()) for tail in tails]
        found = _Filling(project, rank, ahead=1 if attempt == 1 else _AHEAD).run()
        if best is None or found.better(best, project.jobs):
            best = found
        if best.waves <= enough and None not in best.night and attempt:
            break
    assert best is not None
    return best


def _tails(project: Project) -> list[float]:
    """Return for each job the length of the longest chain that starts with it, a day for each change of nights."""
    tails = [0.0] * len(project.jobs)
    for at in reversed(project.sorted_jobs):
        rest = [tails[f] + (_DAY if at in project.jobs[f].earlier else 0) for f in project.following[at]]
        tails[at] = project.jobs[at].minutes + max(rest, default=0.0)
    return tails


@dataclass
class _Night:
    """One night while it is filled: what is in use in each of its minutes, and who changes in it."""

    number: int
    first: int
    length: int
    used: dict[str, Ints] = field(default_factory=dict)
    owners: set[str] = field(default_factory=set)
    swapped: set[int] = field(default_factory=set)
    refused: dict[object, int] = field(default_factory=dict)  # kind of job -> from when on there is no place for it
    counted: dict[str, set[str]] = field(default_factory=dict)

    def in_use(self, resource: str) -> Ints:
        return self.used.setdefault(resource, np.zeros(self.length, dtype=np.int64))


@dataclass
class _Filling:
    """Fills night after night. ``waves`` counts those with owners so far, ``last`` is the latest of them."""

    project: Project
    rank: Sequence[float]
    ahead: int
    night: dict[int, int] = field(default_factory=dict)
    start: dict[int, int] = field(default_factory=dict)
    waves: int = 0
    last: int | None = None

    def __post_init__(self) -> None:
        jobs = self.project.jobs
        self.after = [set(job.after) for job in jobs]
        self.hard = [tuple({*job.needs, *job.earlier}) for job in jobs]
        self.followers: list[set[int]] = [set() for _ in jobs]
        for at in range(len(jobs)):
            for other in self.project.before(at):
                self.followers[other].add(at)
        self.guests: dict[str, set[int]] = {}  # jobs that take one place of a room and no other
        for at, job in enumerate(jobs):
            if len(job.takes) == 1 and job.takes[0][1] == 1:
                self.guests.setdefault(job.takes[0][0], set()).add(at)

    def run(self) -> Timetable:
        waiting = set(range(len(self.project.jobs)))
        nights = self.project.nights
        at = nights.start
        while waiting and at < nights.stop:
            tonight = self._choose(waiting, range(at, min(at + self.ahead, nights.stop)))
            if tonight is None:
                at += self.ahead
                continue
            waiting -= self._fill(tonight, waiting)
            at = tonight + 1
        jobs = range(len(self.project.jobs))
        after = tuple(map(frozenset, self.after))
        return Timetable(tuple(map(self.night.get, jobs)), tuple(map(self.start.get, jobs)), after)

    def _before(self, at: int) -> Iterator[int]:
        yield from self.hard[at]
        yield from self.after[at]

    def _ready(self, at: int) -> bool:
        return all(other in self.night for other in self._before(at))

    def _choose(self, waiting: set[int], nights: range) -> int | None:
        """Return the night on which most waiting jobs could run, the earliest of equals; None for none."""
        best, most = None, 0.0
        kinds: dict[tuple[int, int, bool], list[int]] = {}
        for at in waiting:
            if self._ready(at):
                job = self.project.jobs[at]
                kinds.setdefault((id(job.openings), job.minutes, bool(job.owner)), []).append(at)
        cap = max(1.0, self.project.size(self.waves))
        for night in nights:
            # One job of a kind tells whether the night is open to all of them.
            could = sum(len(kind) for kind in kinds.values() if any(self._allowed(at, night) for at in kind))
            if min(could, cap) > most:
                best, most = night, min(could, cap)
        return best

    def _allowed(self, at: int, night: int) -> bool:
        """Say whether ``night`` is open to the job and respects the nights that others took."""
        job, project = self.project.jobs[at], self.project
        if not any(opening.end - opening.start >= job.minutes for opening in job.openings(night)):
            return False
        if job.owner and self.waves == 1 and night < (self.last or 0) + project.pilot_days:
            return False
        if any(self.night.get(other, night) >= night for other in job.earlier):
            return False
        return all(abs(self.night[o] - night) >= d for o, d in project.apart(at).items() if o in self.night)

    def _fill(self, number: int, waiting: set[int]) -> set[int]:
        """Put into one night what fits, by rank as its needs are met; return what was put there."""
        project = self.project
        spans = [(o.start, o.end) for at in waiting for o in project.jobs[at].openings(number)]
        first, end = min(s for s, _ in spans), max(e for _, e in spans)
        night = _Night(number, first, end - first)
        placed: set[int] = set()
        ready = [(self.rank[at], at) for at in waiting if self._ready(at)]
        while ready:
            placed |= self._place_all(ready, night)
            ready = self._swap(waiting - placed, night)
        if night.owners:
            self.waves, self.last = self.waves + 1, number
        return placed

    def _place_all(self, ready: list[tuple[float, int]], night: _Night) -> set[int]:
        """Place what fits of the jobs that are ready, and of those that get ready by it."""
        placed: set[int] = set()
        heapq.heapify(ready)
        while ready:
            _, at = heapq.heappop(ready)
            if at in self.night or not self._place(at, night):
                continue
            placed.add(at)
            for other in self.followers[at]:
                if self._ready(other):
                    heapq.heappush(ready, (self.rank[other], other))
        return placed

    def _swap(self, waiting: set[int], night: _Night) -> list[tuple[float, int]]:
        """Let jobs that lack nothing but a place take one from others that cannot run tonight; return these jobs."""
        swapped = []
        for guests in self.guests.values():
            here = sorted(guests & waiting, key=lambda at: self.rank[at])
            holders = [at for at in here if all(other in self.night for other in self.after[at])]
            for at in here if holders else ():
                if at in night.swapped or self._ready(at) or not all(other in self.night for other in self.hard[at]):
                    continue
                job = self.project.jobs[at]
                if not self._allowed(at, night.number) or not self._counts(job, night) or _kind(job) in night.refused:
                    continue
                holder = next((other for other in reversed(holders) if not self._depends(at, other)), None)
                if holder is not None:
                    holders.remove(holder)
                    self._exchange(at, holder)
                    night.swapped.add(at)
                    swapped.append((self.rank[at], at))
        return swapped

    def _exchange(self, at: int, other: int) -> None:
        for job in (at, other):
            for before in self.after[job]:
                if before not in self.hard[job]:
                    self.followers[before].discard(job)
        self.after[at], self.after[other] = self.after[other], self.after[at]
        for job in (at, other):
            for before in self.after[job]:
                self.followers[before].add(job)

    def _depends(self, at: int, other: int) -> bool:
        """Say whether job ``at`` waits for ``other``, directly or not; True where that takes too long to find out."""
        seen, heads = {at}, [at]
        while heads:
            for before in self._before(heads.pop()):
                if before == other or len(seen) > _LOOKED_AT:
                    return True
                if before not in self.night and before not in seen:
                    seen.add(before)
                    heads.append(before)
        return False

    def _place(self, at: int, night: _Night) -> bool:
        job = self.project.jobs[at]
        if not self._allowed(at, night.number) or not self._counts(job, night):
            return False
        done = [self.start[o] + self.project.jobs[o].minutes for o in self._before(at)]
        ready, kind = max(done, default=night.first), _kind(job)
        if ready >= night.refused.get(kind, ready + 1):
            return False
        start = _earliest(job, night, ready, self.project)
        if start is None:
            night.refused[kind] = ready
            return False
        self.night[at], self.start[at] = night.number, start
        for resource, amount in job.uses:
            night.in_use(resource)[start - night.first : start - night.first + job.minutes] += amount
        if job.owner:
            night.owners.add(job.owner)
            for quota in job.quotas:
                night.counted.setdefault(quota, set()).add(job.owner)
        return True

    def _counts(self, job: Job, night: _Night) -> bool:
        """Say whether the night's limits on owners leave room for the job's."""
        if not job.owner:
            return True
        if job.owner not in night.owners and len(night.owners) >= self.project.size(self.waves):
            return False
        counted = ((quota, night.counted.get(quota, set())) for quota in job.quotas if quota in self.project.quota)
        return all(job.owner in owners or len(owners) < self.project.quota[quota] for quota, owners in counted)


def _kind(job: Job) -> tuple[object, ...]:
    """Return what jobs have in common that find the same places in a night."""
    return (id(job.openings), job.minutes, job.uses)


def _earliest(job: Job, night: _Night, ready: int, project: Project) -> int | None:
    """Return the earliest start in the night at which nothing that the job uses is short; None for none."""
    busy = np.zeros(night.length + 1, dtype=np.int64)
    for resource, amount in job.uses:
        busy[1:] |= night.in_use(resource) + amount > project.capacity[resource]
    taken = np.cumsum(busy)
    for opening in job.openings(night.number):
        start = _in_opening(job.minutes, opening, max(ready, opening.start), night.first, taken)
        if start is not None:
            return start
    return None


def _in_opening(minutes: int, opening: Opening, ready: int, first: int, taken: Ints) -> int | None:
    low, high = ready - first, opening.end - minutes - first
    if high < low:
        return None
    clear = np.flatnonzero(taken[low + minutes : high + minutes + 1] == taken[low : high + 1])
    return int(clear[0]) + low + first if len(clear) else None
