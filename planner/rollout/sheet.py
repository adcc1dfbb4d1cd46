"""A project as arrays, made once for the many schedules that are tried.

Whatever can be short is a *level*: a resource, a room, a quota, or the wave itself. A job that asks for more of a level
than is left lacks it; a job starts when it lacks nothing and its window is open.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from planner.fleet import Floats, Ints
from planner.rollout.project import Job, Project

_DAY = 24 * 60
_NO_LIMIT = 1 << 40

Draw = tuple[int, int]  # level, amount


@dataclass(frozen=True)
class Spans:
    """When jobs may start in one night: rows of (kind of job, first minute, last minute), by arrays."""

    kind: Ints
    first: Ints
    last: Ints


@dataclass(frozen=True)
class Sheet:
    """The arrays of ``project``; position j is job j, a ``kind`` is (openings, minutes)."""

    project: Project
    _spans: dict[int, Spans] = field(default_factory=dict)

    @property
    def jobs(self) -> tuple[Job, ...]:
        """The jobs."""
        return self.project.jobs

    @cached_property
    def minutes(self) -> Ints:
        """Length of each job."""
        return np.array([job.minutes for job in self.jobs], dtype=np.int64)

    @cached_property
    def _kinds(self) -> dict[tuple[int, int], int]:
        found: dict[tuple[int, int], int] = {}
        for job in self.jobs:
            found.setdefault((id(job.openings), job.minutes), len(found))
        return found

    @cached_property
    def kind(self) -> Ints:
        """Kind of each job."""
        return np.array([self._kinds[id(job.openings), job.minutes] for job in self.jobs], dtype=np.int64)

    @cached_property
    def sample(self) -> list[int]:
        """One job of each kind."""
        return np.unique(self.kind, return_index=True)[1].tolist() if self.jobs else []

    def spans(self, night: int) -> Spans:
        """Return when each kind may start in ``night``."""
        if night not in self._spans:
            rows = [
                (kind, opening.start, opening.end - self.jobs[at].minutes)
                for kind, at in enumerate(self.sample)
                for opening in self.jobs[at].openings(night)
                if opening.end - opening.start >= self.jobs[at].minutes
            ]
            found = np.array(rows, dtype=np.int64).reshape(-1, 3)
            self._spans[night] = Spans(found[:, 0], found[:, 1], found[:, 2])
        return self._spans[night]

    def opened(self, night: int) -> Ints:
        """Return the kinds that ``night`` is open to, each once."""
        return np.unique(self.spans(night).kind)

    @cached_property
    def names(self) -> dict[tuple[str, str], int]:
        """Position of each level; (what it is, name)."""
        project = self.project
        keys = [("use", name) for name in project.capacity]
        keys += [("room", name) for name in project.room]
        keys += [("quota", name) for name in project.quota]
        return {key: at for at, key in enumerate([*keys, ("wave", "")])}

    @cached_property
    def full(self) -> Ints:
        """What each level has at the start."""
        project = self.project
        found = [*project.capacity.values(), *project.room.values(), *project.quota.values(), _NO_LIMIT]
        return np.array(found, dtype=np.int64)

    @property
    def wave(self) -> int:
        """The level of the sites of one wave."""
        return len(self.full) - 1

    @cached_property
    def nightly(self) -> list[int]:
        """The levels that are full again each night, but for the wave."""
        return [at for (what, _), at in self.names.items() if what == "quota"]

    @cached_property
    def uses(self) -> list[list[Draw]]:
        """For each job the resources that it uses while it runs."""
        return [[(self.names["use", name], amount) for name, amount in job.uses] for job in self.jobs]

    @cached_property
    def takes(self) -> list[list[Draw]]:
        """For each job the rooms that it takes when it starts."""
        return [self._rooms(job.takes) for job in self.jobs]

    @cached_property
    def gives(self) -> list[list[Draw]]:
        """For each job the rooms that it gives back when it ends."""
        return [self._rooms(job.gives) for job in self.jobs]

    def _rooms(self, places: tuple[tuple[str, int], ...]) -> list[Draw]:
        return [(self.names["room", name], n) for name, n in places if ("room", name) in self.names]

    @cached_property
    def rooms(self) -> tuple[Ints, Ints]:
        """The first room that each job takes, and gives; -1 for none."""
        first = ([draws[0][0] if draws else -1 for draws in rows] for rows in (self.takes, self.gives))
        takes, gives = (np.array(rooms, dtype=np.int64) for rooms in first)
        return takes, gives

    @cached_property
    def leaving(self) -> dict[int, list[int]]:
        """The jobs that give each room something."""
        found: dict[int, list[int]] = defaultdict(list)
        for at, draws in enumerate(self.gives):
            for room, _ in draws:
                found[room].append(at)
        return found

    @cached_property
    def counts(self) -> list[list[int]]:
        """For each job the levels that its owner counts in once a night."""
        quotas = self.project.quota
        return [
            [*(self.names["quota", q] for q in job.quotas if q in quotas), self.wave] if job.owner else []
            for job in self.jobs
        ]

    @cached_property
    def asking(self) -> list[tuple[Ints, Ints]]:
        """For each level the jobs that ask for it, and how much each asks."""
        found: list[list[Draw]] = [[] for _ in self.full]
        for at in range(len(self.jobs)):
            for level, amount in (*self.uses[at], *self.takes[at], *((level, 1) for level in self.counts[at])):
                found[level].append((at, amount))
        return [
            (np.array([at for at, _ in rows], dtype=np.int64), np.array([n for _, n in rows], dtype=np.int64))
            for rows in found
        ]

    @cached_property
    def marks(self) -> list[list[int]]:
        """For each level the amounts that jobs ask, and 0, which excused ones ask: who lacks it changes at these."""
        return [np.union1d(amounts, 0).tolist() for _, amounts in self.asking]

    @cached_property
    def same(self) -> list[int]:
        """For each level the amount that every job asks which asks for it; 0 where they differ, or nobody asks."""
        amounts = [set(found.tolist()) for _, found in self.asking]
        return [found.pop() if len(found) == 1 else 0 for found in amounts]

    @cached_property
    def following(self) -> list[list[int]]:
        """For each job those that need it."""
        return self._back("needs")

    @cached_property
    def later(self) -> list[list[int]]:
        """For each job those that need it in an earlier night."""
        return self._back("earlier")

    def _back(self, name: str) -> list[list[int]]:
        found: list[list[int]] = [[] for _ in self.jobs]
        for at, job in enumerate(self.jobs):
            for other in getattr(job, name):
                found[other].append(at)
        return found

    @cached_property
    def awaited(self) -> list[int]:
        """The jobs that others wait for, those that wait for them first."""
        return [at for at in reversed(self.project.sorted_jobs) if self.following[at] or self.later[at]]

    @cached_property
    def same_owner(self) -> dict[str, list[int]]:
        """The jobs of each owner that has several."""
        found: dict[str, list[int]] = defaultdict(list)
        for at, job in enumerate(self.jobs):
            if job.owner:
                found[job.owner].append(at)
        return {owner: jobs for owner, jobs in found.items() if len(jobs) > 1}

    @cached_property
    def owned(self) -> Ints:
        """1 for each job at a site, else 0."""
        return np.array([bool(job.owner) for job in self.jobs], dtype=np.int64)

    @cached_property
    def urgent(self) -> Floats:
        """How urgent each job is, or the most urgent one that waits for it."""
        urgent = [job.urgent for job in self.jobs]
        for at in reversed(self.project.sorted_jobs):
            urgent[at] = max((urgent[at], *(urgent[other] for other in (*self.following[at], *self.later[at]))))
        return np.array(urgent, dtype=np.float64)

    @cached_property
    def tails(self) -> Ints:
        """For each job the minutes of the longest chain that starts with it, a day for each change of nights."""
        tails = [0] * len(self.jobs)
        for at in reversed(self.project.sorted_jobs):
            rest = [tails[other] for other in self.following[at]]
            rest += [tails[other] + _DAY for other in self.later[at]]
            tails[at] = self.jobs[at].minutes + max(rest, default=0)
        return np.array(tails, dtype=np.int64)
