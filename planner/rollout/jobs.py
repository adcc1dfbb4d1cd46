"""Tasks as jobs: their windows, crews, quotas and room, from the fleet and its policy."""

from __future__ import annotations

import datetime as dt
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import replace

from planner.rollout.handover import Handover
from planner.rollout.nights import Clock, Nights, clocks_of, folded
from planner.rollout.project import Job, Openings, Project, Timetable, growing
from planner.rollout.state import State, hub_position
from planner.rollout.tasks import Task

HORIZON = 731  # nights: two years


class Clocks:
    """The clock of every site and hub, and its openings from the first night on."""

    def __init__(self, state: State, first: dt.date) -> None:
        self._state, self._first = state, first
        self._nights: dict[Clock, Openings] = {}
        self._sites, self._hubs = (clocks_of(state.fleet, table) for table in (state.fleet.sites, state.fleet.pools))

    def of(self, task: Task) -> Clock:
        """Return the clock of the site that changes, else of the hub of the host."""
        if task.site is not None:
            return self._sites[self._state.site_at[task.site]]
        host = self._state.hosts[str(task.host)]
        return self._hubs[host.pool if host.pool >= 0 else hub_position(self._state.fleet, host.hub)]

    def openings(self, clock: Clock) -> Openings:
        """Return the openings of a clock by night; one object for each clock."""
        if clock not in self._nights:
            self._nights[clock] = Nights(clock, self._first).of
        return self._nights[clock]

    @property
    def frozen_days(self) -> int:
        """Days of all freezes together."""
        freezes = self._state.fleet.freezes
        return sum((last - first).days + 1 for first, last in zip(freezes["first"], freezes["last"], strict=True))


def make_project(
    state: State, tasks: Sequence[Task], handover: Handover, room: Mapping[str, int], clocks: Clocks, first: dt.date
) -> Project:
    """Return the project of ``tasks``; job i is task i."""
    policy = state.fleet.policy
    at = {task.id: i for i, task in enumerate(tasks)}
    partners = _neighbours(state)
    by_site: dict[str, list[int]] = {}
    for i, task in enumerate(tasks):
        if task.site is not None:
            by_site.setdefault(task.site, []).append(i)

    def job(i: int, task: Task) -> Job:
        near = [j for other in partners.get(task.site or "", ()) for j in by_site.get(other, ())]
        apart = {at[other]: 1 for other in task.apart if other in at} | dict.fromkeys(near, policy.neighbour_days)
        return Job(
            minutes=policy.host_minutes if task.site is None else policy.site_minutes,
            openings=clocks.openings(clocks.of(task)),
            needs=_at(task.needs, at),
            earlier=_at(task.earlier, at),
            after=_at(task.after, at),
            apart=tuple(sorted(apart.items())),
            uses=_uses(state, task, alone=len(by_site.get(task.site or "", ())) < 2),
            owner=task.site or "",
            quotas=_quotas(state, task),
            takes=tuple(handover.takes(task.change)) if task.change is not None else (),
            gives=tuple(handover.gives(task.change)) if task.change is not None else (),
            urgent=_urgency(state, task),
        )

    jobs = tuple(job(i, task) for i, task in enumerate(tasks))
    return Project(
        jobs,
        range(first.toordinal(), first.toordinal() + HORIZON),
        capacity={name: _capacity(state, name) for job in jobs for name, _ in job.uses},
        quota={q: most for job in jobs for q in job.quotas if (most := _most(state, q)) is not None},
        sizes=growing(policy.pilot_sites, policy.wave_growth, policy.sites_per_wave, len(by_site)) if by_site else (),
        pilot_days=policy.pilot_days if policy.pilot_sites else 1,
        room={place: free for place, free in room.items() if any(p == place for job in jobs for p, _ in job.takes)},
    )


def _urgency(state: State, task: Task) -> float:
    """Return 1 for a site without a third vote today, and up to a half for the priority that Sites gives a site."""
    if task.site is None:
        return 0.0
    given = float(state.fleet.sites["priority"].iloc[state.site_at[task.site]])
    return float(task.kind == "attach") + (0.5 / given if given >= 1 else 0.0)


def handed_over(project: Project, timetable: Timetable) -> Timetable:
    """Return ``timetable`` with the jobs whose places each takes when all run as it says: first left, first taken."""
    events = []
    for at, (job, start) in enumerate(zip(project.jobs, timetable.start, strict=True)):
        if start is not None:
            events += [(start, 1, at, place, amount) for place, amount in job.takes]
            events += [(start + job.minutes, 0, at, place, amount) for place, amount in job.gives]
    holes: dict[str, deque[list[int]]] = {place: deque([[free, -1]]) for place, free in project.room.items()}
    after: list[set[int]] = [set() for _ in project.jobs]
    for _, taking, at, place, amount in sorted(events):
        if place in holes and not taking:
            holes[place].append([amount, at])
        while place in holes and taking and amount:
            hole = holes[place][0]
            part = min(hole[0], amount)
            amount, hole[0] = amount - part, hole[0] - part
            if hole[1] >= 0 and part:
                after[at].add(hole[1])
            if not hole[0]:
                holes[place].popleft()
    return replace(timetable, after=tuple(map(frozenset, after)))


def _at(ids: set[str], at: Mapping[str, int]) -> tuple[int, ...]:
    return tuple(sorted(at[name] for name in ids if name in at))


def _uses(state: State, task: Task, *, alone: bool) -> tuple[tuple[str, int], ...]:
    """Return crew and, where a site has more steps than one, the site itself: nobody changes it twice at once."""
    if task.site is None:
        return ((f"at host {task.host}", 1),)
    crew = (_crew(state, task), 1)
    return (crew,) if alone else (crew, (f"at site {task.site}", 1))


def crew_of(state: State, site: str | None) -> str:
    """Return the name of the crew that changes ``site``; "" for the crews without a name."""
    return state.crews[site] if site is not None else ""


def _crew(state: State, task: Task) -> str:
    crew = crew_of(state, task.site)
    return f"by crew {crew}" if crew else "by the crews without a name"


def _quotas(state: State, task: Task) -> tuple[str, ...]:
    if task.site is None:
        return ()
    region = state.regions[task.site]
    hosts = sorted({f"on host {host}" for host in (task.from_host, task.to_host) if host is not None})
    return (f"in region {folded(region)}", *hosts, _crew(state, task))


def _capacity(state: State, resource: str) -> int:
    return state.fleet.policy.crews if resource == "by the crews without a name" else 1


def _most(state: State, quota: str) -> int | None:
    policy = state.fleet.policy
    if quota.startswith("in region "):
        return policy.sites_per_region
    if quota.startswith("on host "):
        return policy.sites_per_host
    return None if policy.sites_per_crew is None else policy.sites_per_crew * _capacity(state, quota)


def _neighbours(state: State) -> dict[str, set[str]]:
    """Return the neighbours of each site, whichever of two names the other."""
    found: dict[str, set[str]] = {}
    for site, others in zip(state.fleet.site_ids, state.fleet.sites["neighbours"], strict=True):
        for other in others:
            if other != site:
                found.setdefault(site, set()).add(other)
                found.setdefault(other, set()).add(site)
    return found
