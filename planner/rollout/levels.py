"""What is left of every level while a schedule is made, and how many things each job lacks."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy

import numpy as np

from planner.rollout.sheet import Sheet


class Levels:
    """``free`` is left of each level now, ``coming`` once all that runs has ended; ``lack`` counts by job.

    A job lacks each level that has less than it asks for, and each job that it waits for.
    """

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self.free, self.coming = sheet.full.copy(), sheet.full.copy()
        self.lack = np.array([len(job.needs) + len(job.earlier) for job in sheet.jobs], dtype=np.int64)
        self._asked = [amounts for _, amounts in sheet.asking]  # replaced, never changed in place
        self._short = [np.zeros(len(jobs), dtype=bool) for jobs, _ in sheet.asking]
        self._nobody_or_all = [(short, ~short) for short in self._short]
        self._marks = sheet.marks
        self._excused: set[int] = set()
        for level in range(len(self.free)):
            self._renew(level)

    def copy(self) -> Levels:
        """Return a copy, to try a night with."""
        other = copy(self)
        other.free, other.coming, other.lack = self.free.copy(), self.coming.copy(), self.lack.copy()
        other._asked, other._short = list(self._asked), list(self._short)
        other._excused = set(self._excused)
        return other

    def open_night(self, most: float) -> None:
        """Fill the quotas again; the wave has room for ``most`` owners."""
        sheet = self._sheet
        used = {level for level in sheet.nightly if self.free[level] != sheet.full[level]}
        for level in self._excused:
            self._asked[level] = sheet.asking[level][1]
        for level in used | self._excused - {sheet.wave}:
            self.free[level] = sheet.full[level]
            self._renew(level)
        self.free[sheet.wave] = min(most, sheet.full[sheet.wave])
        self._renew(sheet.wave)
        self._excused.clear()

    def begin(self, at: int) -> None:
        """Take what job ``at`` uses and takes."""
        sheet = self._sheet
        for level, amount in sheet.uses[at]:
            self._shift(level, -amount)
        for level, amount in sheet.takes[at]:
            self._shift(level, -amount)
            self.coming[level] -= amount
        for level, amount in sheet.gives[at]:
            self.coming[level] += amount

    def end(self, at: int) -> None:
        """Give back what job ``at`` used, and what it gives."""
        for level, amount in (*self._sheet.uses[at], *self._sheet.gives[at]):
            self._shift(level, amount)
        for other in self._sheet.following[at]:
            self.lack[other] -= 1

    def count(self, at: int, others: Sequence[int]) -> None:
        """Count the owner of job ``at`` tonight, unless it is counted; ``others`` are its jobs, if it has several."""
        for level in self._sheet.counts[at]:
            jobs, asked = self._sheet.asking[level][0], self._asked[level]
            own = np.flatnonzero(np.isin(jobs, others)) if others else jobs[:0]
            if len(own) and asked[own[0]] == 0:
                continue
            if len(own):
                self._asked[level] = asked.copy()
                self._asked[level][own] = 0  # counted once, whatever else is done at it
                self._excused.add(level)
                self._renew(level)
            self._shift(level, -1)

    def _shift(self, level: int, by: int) -> None:
        before = int(self.free[level])
        after = before + by
        self.free[level] = after
        least, most = (before, after) if by > 0 else (after, before)
        for mark in self._marks[level]:
            if least < mark <= most:
                self._renew(level)
                return

    def _renew(self, level: int) -> None:
        """Look anew at who lacks ``level``."""
        jobs = self._sheet.asking[level][0]
        same = self._sheet.same[level]
        if same and level not in self._excused:  # all or nobody
            lacking = bool(same > self.free[level])
            if len(jobs) and lacking != self._short[level][0]:
                self.lack[jobs] += 1 if lacking else -1
                self._short[level] = self._nobody_or_all[level][lacking]
            return
        short = self._asked[level] > self.free[level]
        (changed,) = (short != self._short[level]).nonzero()
        if len(changed):
            self.lack[jobs[changed]] += np.where(short[changed], 1, -1)
            self._short[level] = short
