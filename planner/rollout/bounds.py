"""Why not fewer waves: lower bounds on the nights that any schedule of the jobs uses, each with its reason in words.

None of them rests on one way to hand places on (``after``): they hold for every order of the moves.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import networkx as nx

from planner.counted_words import counted
from planner.rollout.night_kinds import CREWS, LIMITS, PLACES, NightKinds
from planner.rollout.night_program import PILOT, Fewest, fewest_nights
from planner.rollout.project import Project
from planner.rollout.sheet import Sheet

_CLIQUE_NODES = 80  # larger graphs get a greedy clique
_ASKED_AGAIN = 400  # jobs up to which the program says which limits decide
_SIZES_SHOWN = 4
_NONE = Fewest(0)


@dataclass(frozen=True, slots=True)
class Bound:
    """No schedule has fewer ``waves``, because of ``why``. ``chosen`` are nights that the program found for all."""

    waves: int
    why: str
    chosen: Fewest = _NONE


Left = Callable[[], float | None]


def lower_bound(kinds: NightKinds, names: Sequence[str], left: Left = lambda: None) -> Bound:
    """Return the largest of the bounds on the jobs of ``kinds``; ``names`` are the jobs' names for people.

    ``left`` are the seconds left, None for no limit; where there are none, large programs are not asked again.
    """
    if not kinds.sheet.jobs:
        return Bound(0, "Nothing changes.")
    chosen = fewest_nights(kinds, range(len(kinds.sheet.jobs)), seconds=left())
    waves, why = 0, _because("")
    for found, reason in _bounds(kinds, names, chosen, left):
        if found > waves:
            waves, why = found, reason
    return Bound(waves, why(), chosen)


Why = Callable[[], str]  # asked only of the largest bound


def _because(words: str) -> Why:
    return lambda: words


def _bounds(kinds: NightKinds, names: Sequence[str], chosen: Fewest, left: Left) -> Iterator[tuple[int, Why]]:
    project = kinds.sheet.project
    yield 1, _because("At least one step changes something.")
    heads, tails = _chains(project, _longest_night(kinds.sheet))
    longest = max(range(len(heads)), key=lambda at: heads[at] + tails[at])
    if heads[longest] + tails[longest] > 1:
        why = f"Some steps must follow each other, each in a later wave. One of them is {names[longest]}."
        yield heads[longest] + tails[longest], _because(why)
    yield from _cliques(project, names)
    for behind in sorted(set(tails)):
        members = [at for at, tail in enumerate(tails) if tail >= behind]
        for count, why in _counts(project, members, behind):
            yield count + behind, _because(why + _behind(behind))
    for behind in sorted(set(tails)):
        members = [at for at, tail in enumerate(tails) if tail >= behind]
        again = left() != 0 or len(members) <= _ASKED_AGAIN
        fewest = chosen if not behind else fewest_nights(kinds, members, seconds=left()) if again else Fewest(0)
        yield fewest.nights + behind, partial(_of_nights, kinds, members, fewest, behind)


def _behind(waves: int) -> str:
    return f". The steps after them need {counted(waves, 'more wave')}." if waves else "."


def _counts(project: Project, members: Sequence[int], behind: int) -> Iterator[tuple[int, str]]:
    """Yield what the wave's size and each quota ask for, by how many sites count in it."""
    owners = {project.jobs[at].owner for at in members} - {""}
    change = "must change before others or before hosts can retire" if behind else "change"
    if project.sizes and owners:
        yield _by_sizes(len(owners), project.sizes), f"{_sites(len(owners))} {change}; {_sizes(project.sizes)}"
    for quota, most in project.quota.items():
        here = {project.jobs[at].owner for at in members if quota in project.jobs[at].quotas}
        if here:
            yield math.ceil(len(here) / most), f"{_sites(len(here))} {quota} {change}, at most {most:,} in a wave"


def _sites(count: int) -> str:
    return counted(count, "site")


def _sizes(sizes: Sequence[int]) -> str:
    if len(sizes) == 1:
        return f"a wave may change at most {sizes[0]:,}"
    # Waves beyond the listed ones are as large as the last, so that a limit that stays is said once.
    first = next(at for at, size in enumerate(sizes) if size == sizes[-1])
    grown = [f"{size:,} in wave {at}" for at, size in enumerate(sizes[:first], start=1)]
    if len(grown) > _SIZES_SHOWN:
        grown = [*grown[: _SIZES_SHOWN - 1], "more in each next one"]
    last = f"{sizes[-1]:,} in each {'later ' if grown else ''}wave"
    return f"at most {', '.join([*grown, last])}"


def _by_sizes(owners: int, sizes: Sequence[int]) -> int:
    waves = 0
    while owners > 0 and waves < len(sizes):
        owners -= sizes[waves]
        waves += 1
    return waves + max(0, math.ceil(owners / sizes[-1]))


def _of_nights(kinds: NightKinds, members: Collection[int], fewest: Fewest, behind: int) -> str:
    """Say which limits leave no choice of nights with fewer, as far as that can be asked soon."""
    families = [family for family in (CREWS, LIMITS, PLACES, PILOT) if family == PILOT or kinds.has(family)]
    if len(members) <= _ASKED_AGAIN:
        families = [one for one in families if fewest_nights(kinds, members, {one}).nights < fewest.nights]
    *others, last = "windows", *families
    together = f"{', '.join(others)} and {last} together do" if others else f"{last} alone do"
    words = f"For {counted(len(members), 'step')}, {together} not allow fewer waves"
    return words + _behind(behind)


def _longest_night(sheet: Sheet) -> int:
    """Return the most minutes between the first start and the last end in one night."""
    longest = 1
    for night in sheet.project.nights:
        spans = sheet.spans(night)
        if len(spans.kind):
            ends = spans.last + sheet.minutes[sheet.sample][spans.kind]
            longest = max(longest, int(ends.max() - spans.first.min()))
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


def _cliques(project: Project, names: Sequence[str]) -> Iterator[tuple[int, Why]]:
    """Jobs of which no two may share a night: each needs its own."""
    graph = nx.Graph((at, other) for at in range(len(project.jobs)) for other in project.apart(at))
    if not graph:
        return
    clique = max(nx.find_cliques(graph), key=len) if len(graph) <= _CLIQUE_NODES else _greedy_clique(graph)
    shown = ", ".join(names[at] for at in sorted(clique)[:4]) + (", ..." if len(clique) > 4 else "")
    yield len(clique), _because(f"No two of these {len(clique)} may share a wave: {shown}.")


def _greedy_clique(graph: nx.Graph[int]) -> list[int]:
    clique: list[int] = []
    for at in sorted(graph, key=lambda at: (-graph.degree(at), at)):
        if all(graph.has_edge(at, other) for other in clique):
            clique.append(at)
    return clique
