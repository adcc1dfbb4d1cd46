"""Why not fewer waves: lower bounds on the nights that any schedule of the jobs uses, each with its reason in words.

None of them rests on one way to hand places on (``after``): they hold for every order of the moves.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import networkx as nx

from planner.rollout.project import Job, Project

_SPAN_NIGHTS = 60  # nights that are looked at for the longest one and for which weekdays a job can use
_CLIQUE_NODES = 80  # larger graphs get a greedy clique


@dataclass(frozen=True, slots=True)
class Bound:
    """No schedule has fewer ``waves``, because of ``why``."""

    waves: int
    why: str


def lower_bound(project: Project, names: Sequence[str]) -> Bound:
    """Return the largest of the bounds; ``names`` are the jobs' names for people."""
    best = Bound(0, "Nothing changes.")
    for bound in _bounds(project, names):
        if bound.waves > best.waves:
            best = bound
    return best


def _bounds(project: Project, names: Sequence[str]) -> Iterator[Bound]:
    if not project.jobs:
        return
    yield Bound(1, "Something changes.")
    span = _longest_night(project, range(len(project.jobs)))
    heads, tails = _chains(project, span)
    longest = max(range(len(heads)), key=lambda at: heads[at] + tails[at])
    if heads[longest] + tails[longest] > 1:
        why = f"A chain of steps that need each other runs through {names[longest]}."
        yield Bound(heads[longest] + tails[longest], why)
    for members, why, count in _groups(project):
        waves = count()
        before = min(heads[at] for at in members) - 1
        behind = min(tails[at] for at in members)
        yield Bound(before + waves + behind, why + _around(before, behind))
    yield from _cliques(project, names)
    yield from _nights_apart(project)


def _around(before: int, behind: int) -> str:
    parts = [f"{n} more {where}" for n, where in ((before, "before them"), (behind, "after them")) if n]
    return f" and at least {' and '.join(parts)}." if parts else "."


Count = Callable[[], int]


def _groups(project: Project) -> Iterator[tuple[list[int], str, Count]]:
    """Yield groups of jobs, why they need waves, and how many at least."""
    jobs = project.jobs

    def owners(members: Iterable[int]) -> int:
        return len({jobs[at].owner for at in members})

    changing = [at for at, job in enumerate(jobs) if job.owner]
    sets = [(changing, "")] if changing else []
    # What must be over before a host is retired.
    for job in jobs:
        moved = [other for other in job.earlier if jobs[other].owner]
        if not job.owner and len(moved) > 1:
            sets.append((moved, " that must be over before a host changes"))
    for members, which in sets:
        if project.sizes:
            why = f"{owners(members):,} sites to change{which}, {_sizes(project.sizes)} in a wave"
            yield members, why, partial(_by_sizes, owners(members), project.sizes)
    for quota, most in project.quota.items():
        members = [at for at in changing if quota in jobs[at].quotas]
        if members:
            why = f"{owners(members):,} sites to change {quota}, at most {most:,} in a wave"
            yield members, why, partial(math.ceil, owners(members) / most)
    for resource, capacity in project.capacity.items():
        users = [at for at, job in enumerate(jobs) if any(name == resource for name, _ in job.uses)]
        if users:
            long = f"{_longest_night(project, users):,} minutes"
            why = f"{len(users):,} steps {resource} ({capacity:,} at a time), whose nights have at most {long}"
            yield users, why, partial(_by_work, project, resource, users)


def _sizes(sizes: Sequence[int]) -> str:
    if len(sizes) == 1:
        return f"at most {sizes[0]:,}"
    shown = ", ".join(f"{size:,}" for size in sizes[:4])
    return f"at most {shown}{', ...' if len(sizes) > 4 else ''} and later {sizes[-1]:,}"


def _by_sizes(owners: int, sizes: Sequence[int]) -> int:
    waves = 0
    while owners > 0 and waves < len(sizes):
        owners -= sizes[waves]
        waves += 1
    return waves + max(0, math.ceil(owners / sizes[-1]))


def _by_work(project: Project, resource: str, users: Sequence[int]) -> int:
    """Return nights for the work of ``users``: by total, and by how many of the shortest fit one after the other."""
    capacity, span = project.capacity[resource], _longest_night(project, users)
    amount = {at: dict(project.jobs[at].uses)[resource] for at in users}
    total = sum(project.jobs[at].minutes * amount[at] for at in users)
    shortest = min(project.jobs[at].minutes for at in users)
    in_a_night = capacity // min(amount.values()) * (span // shortest)
    return max(math.ceil(total / (capacity * span)), math.ceil(len(users) / max(1, in_a_night)))


def _longest_night(project: Project, members: Iterable[int]) -> int:
    """Return the most minutes between the first start and the last end of openings of ``members`` in one night."""
    longest = 1
    kinds = {id(job.openings): job.openings for job in map(project.jobs.__getitem__, members)}
    for night in project.nights[:_SPAN_NIGHTS]:
        opened = [opening for of in kinds.values() for opening in of(night)]
        if opened:
            longest = max(longest, max(o.end for o in opened) - min(o.start for o in opened))
    return longest


def _chains(project: Project, span: int) -> tuple[list[int], list[int]]:
    """Return for each job the least waves up to and with it, and the least after its own.

    A chain inside one night takes its minutes one after the other; where they exceed the longest night it goes on in
    another.
    """
    jobs = project.jobs

    def along(order: Iterable[int], links: Callable[[int], Iterable[tuple[int, bool]]]) -> list[tuple[int, int]]:
        reached: dict[int, tuple[int, int]] = {}
        for at in order:
            best = (1, jobs[at].minutes)
            for other, strict in links(at):
                waves, minutes = reached[other]
                inside = not strict and minutes + jobs[at].minutes <= span
                step = (waves, minutes + jobs[at].minutes) if inside else (waves + 1, jobs[at].minutes)
                best = max(best, step)
            reached[at] = best
        return [reached[at] for at in range(len(jobs))]

    def before(at: int) -> Iterator[tuple[int, bool]]:
        yield from ((other, False) for other in jobs[at].needs)
        yield from ((other, True) for other in jobs[at].earlier)

    behind: list[list[tuple[int, bool]]] = [[] for _ in jobs]
    for at in range(len(jobs)):
        for other, strict in before(at):
            behind[other].append((at, strict))
    order = project.sorted_jobs
    heads = along(order, before)
    tails = along(reversed(order), behind.__getitem__)
    return [waves for waves, _ in heads], [waves - 1 for waves, _ in tails]


def _cliques(project: Project, names: Sequence[str]) -> Iterator[Bound]:
    """Jobs of which no two may share a night: each needs its own."""
    graph = nx.Graph((at, other) for at in range(len(project.jobs)) for other in project.apart(at))
    if not graph:
        return
    clique = max(nx.find_cliques(graph), key=len) if len(graph) <= _CLIQUE_NODES else _greedy_clique(graph)
    shown = ", ".join(names[at] for at in sorted(clique)[:4]) + (", ..." if len(clique) > 4 else "")
    yield Bound(len(clique), f"No two of these {len(clique)} may share a wave: {shown}.")


def _greedy_clique(graph: nx.Graph[int]) -> list[int]:
    clique: list[int] = []
    for at in sorted(graph, key=lambda at: (-graph.degree(at), at)):
        if all(graph.has_edge(at, other) for other in clique):
            clique.append(at)
    return clique


def _nights_apart(project: Project) -> Iterator[Bound]:
    """Jobs whose openings never fall into one night: their waves add up."""
    nights = project.nights[:_SPAN_NIGHTS]
    seen: dict[int, frozenset[int]] = {}
    kinds: dict[frozenset[int], list[int]] = {}
    for at, job in enumerate(project.jobs):
        key = id(job.openings)
        if key not in seen:
            seen[key] = frozenset(n for n in nights if job.openings(n))
        kinds.setdefault(seen[key], []).append(at)
    disjoint: list[tuple[frozenset[int], int]] = []
    for when, members in sorted(kinds.items(), key=lambda kind: -len(kind[1])):
        if when and all(not when & other for other, _ in disjoint):
            disjoint.append((when, _alone(project, members)))
    if len(disjoint) > 1:
        waves = sum(count for _, count in disjoint)
        yield Bound(
            waves,
            f"{len(disjoint)} groups of steps have windows that never fall into one night; alone they "
            f"need {' + '.join(str(count) for _, count in disjoint)} waves.",
        )


def _alone(project: Project, members: Sequence[int]) -> int:
    """Return a bound for ``members`` that adds up with those of others: without the pilot and its growth."""
    jobs: Mapping[int, Job] = {at: project.jobs[at] for at in members}
    owners = {job.owner for job in jobs.values() if job.owner}
    counts = [1]
    if project.sizes:
        counts.append(math.ceil(len(owners) / project.sizes[-1]))
    for quota, most in project.quota.items():
        counts.append(math.ceil(len({j.owner for j in jobs.values() if j.owner and quota in j.quotas}) / most))
    for resource in project.capacity:
        users = [at for at, job in jobs.items() if any(name == resource for name, _ in job.uses)]
        if users:
            counts.append(_by_work(project, resource, users))
    return max(counts)
