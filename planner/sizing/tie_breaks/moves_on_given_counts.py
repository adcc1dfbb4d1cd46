"""Fewer moves on given host counts: a site that stays in its pool stays put only where its host runs on.

Counts and homes are settled by pools, so that sites of a host that the plan gives up count as staying, and move all the
same. Here the hosts that run on are named first, and the flow knows who can stay put. It may send more sites to another
pool than before, and fewer to another host.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import numpy as np

from planner.fleet import Bools, Ints
from planner.sizing.instance.case import Case
from planner.sizing.instance.incumbent import InForce
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.aims import aim_of
from planner.sizing.solution.counts import Sized
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seating
from planner.sizing.tie_breaks.lexicographic import place

Seated = tuple[Placement, Seating]


def with_fewer_moves(case: Case, sized: Sized, made: Seated, seat: Callable[[Placement], Seating]) -> Seated:
    """Return ``made``, or who sits where with fewer moves on the same hosts, where moves lead among ``tie_breaks``.

    ``seat`` gives a placement its hosts. What is as good in moves is compared by total RTT, where that comes next.
    """
    problem = case.problem
    today = case.in_force
    tie_breaks = case.tie_breaks
    if not tie_breaks or tie_breaks[0] != "moves" or not today.incumbent.any():
        return made
    placement = made[0]
    leaves_pool = ~today.incumbent[placement.pair]
    had_host = ~today.nowhere[problem.site[placement.pair]]
    elsewhere = int((leaves_pool & had_host).sum())
    moved = _judged(case, made)
    if moved[0] - today.gone <= elsewhere + int((placement.own & ~today.nowhere).sum()):
        return made  # whoever stays in his pool stays on his host
    running_on = _on_running_hosts(problem, sized.counts.hosts, today)
    found = place(problem, sized, running_on, tie_breaks)
    if found is None:
        return made
    trial = found, seat(found)
    return trial if _judged(case, trial) < moved else made


def _judged(case: Case, made: Seated) -> tuple[float, ...]:
    """Return the moves, and the total RTT where that is the next aim."""
    compared = [name for name in case.tie_breaks[:2] if name in ("moves", "latency")]
    told = [aim.told(case, *made) for aim in map(aim_of, compared)]
    return tuple(round(value, 6) for value in told)


def _on_running_hosts(problem: Problem, hosts: Ints, today: InForce) -> Bools:
    """Mark the pairs (E,) that keep a site on a host that runs on: in each pool, those that serve most sites today."""
    staying = np.flatnonzero(today.incumbent)
    sites = problem.site[staying]
    names = [today.host[site] for site in sites]
    pools = problem.pool[staying].tolist()
    serves: dict[int, Counter[str]] = {}
    for p, name in zip(pools, names, strict=True):
        if name:
            serves.setdefault(p, Counter())[name] += 1
    running: set[tuple[int, str]] = set()
    for p, number in serves.items():
        most_first = sorted(number, key=lambda name: (-number[name], name))
        kept = most_first[: int(hosts[p])]
        running.update((p, name) for name in kept)
    marks = today.incumbent.copy()
    hosts_today = zip(pools, names, strict=True)
    marks[staying] = [not name or (p, name) in running for p, name in hosts_today]
    return marks
