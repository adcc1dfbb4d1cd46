"""Jobs to be scheduled into nights: the model that the list schedule, the exact schedule and the bound share.

Choose for each job j a night and a start s_j (minutes) so that

    (1)  s_j .. s_j + p_j lies in one opening of the job
    (2)  s_i + p_i <= s_j                      for each i in needs(j)
    (3)  night(i) + 1 <= night(j)              for each i in earlier(j)
    (4)  |night(i) - night(j)| >= d            for each (i, d) in apart(j)
    (5)  at any time, the uses of running jobs are at most the capacity of each resource
    (6)  in each night, each quota has at most so many owners, and the wave at most so many as its place allows
    (7)  at any time, what jobs have taken of a room and not given back is at most what is free

with the fewest nights used, then the earliest finish. A job takes of a room when it starts and gives when it ends.
Without (1), (3), (4) and (6) this is the resource-constrained project scheduling problem (J. Blazewicz, J. K. Lenstra,
A. H. G. Rinnooy Kan, Discrete Applied Mathematics 5 (1983) 11-24); (4) alone is graph colouring.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from planner.rollout.nights import Opening

Openings = Callable[[int], tuple[Opening, ...]]  # of a night


@dataclass(frozen=True)
class Job:
    """One step to be scheduled.

    ``minutes``: its length. ``openings`` of a night. ``needs`` (2), ``earlier`` (3), ``after``: as needs, but only one
    way to keep (7). ``apart`` (4), as (job, least nights between). ``uses`` (5). ``owner``: the site that changes, ""
    for none; ``quotas`` are the quotas (6) that the owner counts in. ``takes`` and ``gives`` (7). ``urgent``: early
    where nothing else decides.
    """

    minutes: int
    openings: Openings
    needs: tuple[int, ...] = ()
    earlier: tuple[int, ...] = ()
    after: tuple[int, ...] = ()
    apart: tuple[tuple[int, int], ...] = ()
    uses: tuple[tuple[str, int], ...] = ()
    owner: str = ""
    quotas: tuple[str, ...] = ()
    takes: tuple[tuple[str, int], ...] = ()
    gives: tuple[tuple[str, int], ...] = ()
    urgent: float = 0.0


@dataclass(frozen=True)
class Project:
    """Jobs with what limits them. ``nights`` are those that may be used, in order.

    ``sizes``: most owners of the first, second, ... wave with owners; the last holds for all further ones; empty for no
    limit. ``pilot_days``: least nights between the first and the second such wave.
    """

    jobs: tuple[Job, ...]
    nights: range
    capacity: Mapping[str, int] = field(default_factory=dict)
    quota: Mapping[str, int] = field(default_factory=dict)
    sizes: tuple[int, ...] = ()
    pilot_days: int = 1
    room: Mapping[str, int] = field(default_factory=dict)

    def size(self, wave: int) -> float:
        """Return the most owners of the wave with owners that comes at ``wave``, counted from 0."""
        return self.sizes[min(wave, len(self.sizes) - 1)] if self.sizes else math.inf

    def apart(self, job: int) -> Mapping[int, int]:
        """Return the least nights between ``job`` and each other one, both ways."""
        return self._apart.get(job, {})

    @cached_property
    def _apart(self) -> dict[int, dict[int, int]]:
        found: dict[int, dict[int, int]] = {}
        for at, job in enumerate(self.jobs):
            for other, nights in job.apart:
                for a, b in ((at, other), (other, at)):
                    among = found.setdefault(a, {})
                    among[b] = max(nights, among.get(b, 0))
        return found

    @cached_property
    def sorted_jobs(self) -> list[int]:
        """Jobs with everything that they need, or come after, before them. ValueError where that goes in a circle."""
        waiting = [len(self.before(at)) for at in range(len(self.jobs))]
        following = self.following
        done = [at for at, count in enumerate(waiting) if not count]
        for at in done:
            for other in following[at]:
                waiting[other] -= 1
                if not waiting[other]:
                    done.append(other)
        if len(done) < len(self.jobs):
            raise ValueError("the jobs need each other in a circle")
        return done

    def before(self, at: int) -> tuple[int, ...]:
        """Return the jobs that must be done before job ``at`` starts."""
        return self._before[at]

    @cached_property
    def _before(self) -> list[tuple[int, ...]]:
        return [tuple({*job.needs, *job.earlier, *job.after}) for job in self.jobs]

    @cached_property
    def following(self) -> list[list[int]]:
        """For each job those that wait for it."""
        found: list[list[int]] = [[] for _ in self.jobs]
        for at in range(len(self.jobs)):
            for other in self.before(at):
                found[other].append(at)
        return found


@dataclass(frozen=True)
class Timetable:
    """Night and start of each job, None for a job that found no night; and the jobs whose place each takes."""

    night: tuple[int | None, ...]
    start: tuple[int | None, ...]
    after: tuple[frozenset[int], ...]

    @property
    def waves(self) -> int:
        """Nights used."""
        return len({night for night in self.night if night is not None})

    def finish(self, jobs: Sequence[Job]) -> int:
        """Return the latest end in minutes; 0 for no job."""
        ends = (start + job.minutes for start, job in zip(self.start, jobs, strict=True) if start is not None)
        return max(ends, default=0)

    def better(self, other: Timetable, jobs: Sequence[Job]) -> bool:
        """Say whether fewer jobs are left out, else fewer nights are used, else it ends earlier."""
        return self._key(jobs) < other._key(jobs)

    def _key(self, jobs: Sequence[Job]) -> tuple[int, int, int]:
        return sum(night is None for night in self.night), self.waves, self.finish(jobs)


def growing(pilot: int, growth: float, most: int | None, total: int) -> tuple[int, ...]:
    """Return the most owners of each wave: the pilot, then ``growth`` times more each, to ``most``; empty for no limit.

    >>> growing(3, 3, 20, 100), growing(0, 3, 20, 100), growing(0, 3, None, 100), growing(2, 1, None, 5)
    ((3, 9, 20), (20,), (), (2,))
    """
    if not pilot:
        return () if most is None else (most,)
    least = total if most is None else most
    sizes = [float(min(pilot, least))]
    while growth > 1 and sizes[-1] < least:
        sizes.append(min(least, sizes[-1] * growth))
    return tuple(math.floor(size + 1e-9) for size in sizes)
