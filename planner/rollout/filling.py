"""One schedule, made night by night and inside a night minute by minute: what can start starts, by rank.

The parallel generation scheme (J. E. Kelley, in Muth and Thompson, Industrial Scheduling (1963) 347-365). A place is
taken by whoever starts first, so that it is handed on within the night among those whose windows are open.
"""

from __future__ import annotations

import heapq
from copy import copy

import numpy as np

from planner.fleet import Floats, Ints
from planner.rollout.guards import Guard
from planner.rollout.levels import Levels
from planner.rollout.project import Timetable
from planner.rollout.sheet import Sheet, Spans

_WANTED = 0.5  # rank of a job that leaves a host for which others wait
_WAITERS = 8  # so many of them count
_PATIENCE = 0.5 / (12 * 60)  # rank that a job loses for each minute that its window stays open
_CLOSED = -1
ANY_NIGHT = -1  # in the place of the night of a job that is kept for none


class Filling:
    """The state between two nights. ``rank``: who goes first, largest first."""

    def __init__(self, sheet: Sheet, rank: Floats, *, by_order: bool = False) -> None:
        self.sheet, self.rank = sheet, rank
        count = len(sheet.jobs)
        self.guard, self.levels = Guard(sheet, by_order=by_order), Levels(sheet)
        self.night: list[int | None] = [None] * count
        self.start: list[int | None] = [None] * count
        self.waiting = np.ones(count, dtype=bool)
        self.not_before = np.full(count, sheet.project.nights.start, dtype=np.int64)
        self.strict = np.array([len(job.earlier) for job in sheet.jobs], dtype=np.int64)  # still to be done
        self.now = -(1 << 40)  # nothing starts before
        self.waves, self.last, self.last_done = 0, 0, 0
        self.allotted: Ints | None = None  # the night for which each job is kept, if it is; replaced, never changed

    def copy(self) -> Filling:
        """Return a copy, to try a night with."""
        other = copy(self)
        other.guard, other.levels = self.guard.copy(), self.levels.copy()
        other.night, other.start = list(self.night), list(self.start)
        other.waiting, other.not_before = self.waiting.copy(), self.not_before.copy()
        other.strict = self.strict.copy()
        return other

    def timetable(self) -> Timetable:
        """Return what is done; who takes whose place is not said."""
        return Timetable(tuple(self.night), tuple(self.start), (frozenset(),) * len(self.night))

    def could(self, night: int) -> Ints:
        """Return the waiting jobs whose windows ``night`` has, unless other nights forbid it."""
        opened = np.zeros(len(self.sheet.sample), dtype=bool)
        spans = self.sheet.spans(night)
        opened[spans.kind[spans.last >= self.now]] = True
        ready = self.waiting & opened[self.sheet.kind] & (self.not_before <= night) & (self.strict == 0)
        if self.allotted is not None:
            ready &= self.allotted <= night
        found: Ints = np.flatnonzero(ready)
        if self.waves == 1 and night < self.last + self.sheet.project.pilot_days:
            found = found[self.sheet.owned[found] == 0]
        return found

    def fill(self, night: int, most: float) -> list[int]:
        """Do in ``night`` what can be done, for at most so many owners; return the jobs in order of their start."""
        tonight, spans = self.could(night), self.sheet.spans(night)
        self.levels.open_night(most)
        times = sorted({max(int(first), self.now) for first in spans.first})
        running: list[tuple[int, int]] = []
        done: list[int] = []
        while times:
            now = heapq.heappop(times)
            while running and running[0][0] <= now:
                self.levels.end(heapq.heappop(running)[1])
            if times and times[0] == now:
                continue
            for at in self._begin_all(tonight, spans, night, now):
                end = now + self.sheet.jobs[at].minutes
                heapq.heappush(running, (end, at))
                heapq.heappush(times, end)
                done.append(at)
                self.now = max(self.now, end)
        self._close(done, night)
        self.last_done = night if done else self.last_done
        return done

    def _begin_all(self, tonight: Ints, spans: Spans, night: int, now: int) -> list[int]:
        """Begin what can start now."""
        sheet, lack = self.sheet, self.levels.lack
        here = tonight[lack[tonight] == 0]
        here = here[self._may(here, night)]
        if not len(here):
            return []
        closes = np.full(len(sheet.sample), _CLOSED)
        inside = (spans.first <= now) & (now <= spans.last)
        closes[spans.kind[inside]] = spans.last[inside]
        here = here[closes[sheet.kind[here]] != _CLOSED]
        if len(here) > 1:
            rank = self.rank[here] + self._wanted(tonight, here) - (closes[sheet.kind[here]] - now) * _PATIENCE
            here = here[np.argsort(-rank, kind="stable")]
        begun: list[int] = []
        while len(here):
            at = int(here[0])
            here = here[1:]
            if self._trusted(at) or self.guard.allows(at, self.levels.coming):
                self._begin(at, night, now)
                begun.append(at)
                here = here[(lack[here] == 0) & self._may(here, night)]
        return begun

    def _trusted(self, at: int) -> bool:
        """Say whether an allotment, which counts places, gave ``at`` its night; else one known order would decide."""
        return self.allotted is not None and self.allotted[at] > ANY_NIGHT and not self.guard.simple[at]

    def _may(self, jobs: Ints, night: int) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        found: np.ndarray[tuple[int], np.dtype[np.bool_]] = self.waiting[jobs] & (self.not_before[jobs] <= night)
        return found

    def _wanted(self, tonight: Ints, here: Ints) -> Floats:
        """Return what each job of ``here`` gains by leaving a host whose places others could take tonight."""
        takes, gives = self.sheet.rooms
        coming = self.levels.coming
        left = tonight[self.waiting[tonight]]
        none = len(coming)  # the place of those that take nothing, which comes after all rooms, as -1 does
        asked = np.bincount(takes[left] % (none + 1), minlength=none + 1)
        short = np.zeros(none + 1, dtype=np.int64)
        np.minimum(np.maximum(asked[:none] - coming, 0), _WAITERS, out=short[:none])
        found: Floats = np.asarray(short[gives[here]] * (_WANTED / _WAITERS))
        return found

    def _begin(self, at: int, night: int, now: int) -> None:
        self.night[at], self.start[at], self.waiting[at] = night, now, False
        self.levels.begin(at)
        owner = self.sheet.jobs[at].owner
        if owner:
            self.levels.count(at, self.sheet.same_owner.get(owner, ()))
        for other, nights in self.sheet.project.apart(at).items():
            self.not_before[other] = max(self.not_before[other], night + nights)
        self.guard.done(at)

    def _close(self, done: list[int], night: int) -> None:
        later = [other for at in done for other in self.sheet.later[at]]
        for other in later:
            self.levels.lack[other] -= 1
            self.strict[other] -= 1
        if any(self.sheet.jobs[at].owner for at in done):
            self.waves, self.last = self.waves + 1, night
