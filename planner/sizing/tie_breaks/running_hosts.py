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
    elsewhere = int((~today.incumbent[placement.pair] & ~today.nowhere[problem.site[placement.pair]]).sum())
    moved = _judged(case, made)
    if moved[0] - today.gone <= elsewhere + int((placement.own & ~today.nowhere).sum()):
        return made  # whoever stays in his pool stays on his host
    found = place(problem, sized, _on_running_hosts(problem, sized.counts.hosts, today), tie_breaks)
    if found is None:
        return made
    trial = found, seat(found)
    return trial if _judged(case, trial) < moved else made


def _judged(case: Case, made: Seated) -> tuple[float, ...]:
    """Return the moves, and the total RTT where that is the next aim."""
    aims = [aim_of(name) for name in case.tie_breaks[:2] if name in ("moves", "latency")]
    return tuple(round(aim.told(case, *made), 6) for aim in aims)


def _on_running_hosts(problem: Problem, hosts: Ints, today: InForce) -> Bools:
    """Mark the pairs (E,) that keep a site on a host that runs on: in each pool, those that serve most sites today."""
    staying = np.flatnonzero(today.incumbent)
    serves: dict[int, Counter[str]] = {}
    for pair in staying.tolist():
        name = today.host[problem.site[pair]]
        if name:
            serves.setdefault(int(problem.pool[pair]), Counter())[name] += 1
    running = {
        (p, name)
        for p, number in serves.items()
        for name, _ in sorted(number.items(), key=lambda item: (-item[1], item[0]))[: int(hosts[p])]
    }
    marks = today.incumbent.copy()
    for pair in staying.tolist():
        name = today.host[problem.site[pair]]
        marks[pair] = not name or (int(problem.pool[pair]), name) in running
    return marks
