"""The best worst margin, and the smallest largest load of a host, over all plans of as many hosts.

Without the pairs of a margin below m, or with hosts of L clusters at most, the fleet does with as many hosts or it does
not, and the cut search tells which. The best m and L are found by bisection (bottleneck extrema: J. Edmonds,
D. R. Fulkerson, J. Combinatorial Theory 8 (1970) 299-306).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import as_floats, indices, totals
from planner.fleet import Bools, Floats, Ints
from planner.sizing.host_counts.cutting_planes import search_counts
from planner.sizing.host_counts.room_for_all import all_fit
from planner.sizing.host_counts.rounding import round_counts
from planner.sizing.instance.case import TieBreak
from planner.sizing.instance.classes import Classes, arc_of_pair, group
from planner.sizing.instance.problem import Problem, select
from planner.sizing.solution.aims import Bottleneck, aim_of
from planner.sizing.solution.counts import Sized
from planner.sizing.solution.placement import Placement
from planner.sizing.solvers.budget import SolveBudget


@dataclass(frozen=True)
class Narrowed:
    """A problem that is left when leading aims are settled, with counts for it.

    ``pair`` (E',): its eligible pairs among those of the whole problem. ``tie_breaks``: the aims that are still to
    come. ``bounds`` on the aims that are settled.
    """

    problem: Problem
    pair: Ints
    sized: Sized
    tie_breaks: tuple[TieBreak, ...]
    bounds: dict[TieBreak, float]

    def in_whole(self, whole: Problem, classes: Classes, sized: Sized, placement: Placement) -> tuple[Sized, Placement]:
        """Return counts and placement of this problem as those of the ``whole`` one, with its ``classes``."""
        placement = dataclasses.replace(placement, pair=self.pair[placement.pair])
        units = placement.units if whole.split else np.ones(len(placement.pair))
        arcs = arc_of_pair(whole, classes)[placement.pair]
        flow = totals(arcs, units, len(classes.pool))
        counts = dataclasses.replace(sized.counts, flow=as_floats(flow))
        return dataclasses.replace(sized, classes=classes, counts=counts), placement


def narrow(problem: Problem, sized: Sized, tie_breaks: Sequence[TieBreak], budget: SolveBudget) -> Narrowed:
    """Settle the aims before the first that is no bottleneck, each over all plans of as many hosts."""
    every = indices(problem.pool)
    now = Narrowed(problem, every, sized, tuple(tie_breaks), {})
    while now.tie_breaks and isinstance(aim := aim_of(now.tie_breaks[0]), Bottleneck):
        best, bound = _bisect(now.problem, aim, now.sized, budget)
        bounds = {**now.bounds, aim.name: bound}
        now = dataclasses.replace(now, tie_breaks=now.tie_breaks[1:], bounds=bounds)
        if best is not None:
            pair = now.pair[best.kept]
            now = dataclasses.replace(now, problem=best.problem, pair=pair, sized=best.sized)
    return now


def bottleneck_bound(problem: Problem, aim: Bottleneck, sized: Sized, budget: SolveBudget) -> float:
    """Return a bound on ``aim``, margin or spread, over all plans of as many hosts as ``sized`` has."""
    return _bisect(problem, aim, sized, budget)[1]


@dataclass(frozen=True)
class _Step:
    """A problem with ``kept`` (E,) pairs of the one before, and counts for it."""

    problem: Problem
    kept: Bools
    sized: Sized


def _bisect(problem: Problem, aim: Bottleneck, sized: Sized, budget: SolveBudget) -> tuple[_Step | None, float]:
    """Return the best step that is known to do with as many hosts, None where none is, and a bound on the aim."""
    steps = _steps(problem, aim, sized)
    low = -1
    high = len(steps) - 1
    refuted = len(steps)
    best = None
    while low < high:
        middle = (low + high + 1) // 2
        answer = _at(problem, aim, steps[middle], sized, budget)
        if isinstance(answer, _Step):
            low, best = middle, answer
        else:
            high = middle - 1
            refuted = middle if answer else refuted
    # One step short of what is refuted may be possible; the first step of all is what any plan keeps.
    return best, float(steps[max(0, refuted - 1)])


def _steps(problem: Problem, aim: Bottleneck, sized: Sized) -> Floats:
    """Return the values that the aim may have, from the worst to one that no plan can beat."""
    ideal = aim.ideal(problem, int(sized.counts.hosts.sum()))
    levels = aim.levels(problem, indices(problem.pool))
    may_be = levels <= ideal if aim.larger else levels >= ideal
    possible = levels[may_be]
    return possible if len(possible) else np.array([ideal])


def _at(problem: Problem, aim: Bottleneck, value: float, sized: Sized, budget: SolveBudget) -> _Step | bool:
    """Return the problem in which the aim is ``value`` or better, with counts; else whether that is refuted."""
    kept, caps = aim.within(problem, value)
    selected = problem if kept.all() else select(problem, kept)
    narrower = dataclasses.replace(selected, caps=caps)
    if not all_fit(narrower):
        return True
    hosts = int(sized.counts.hosts.sum())
    classes = group(narrower, by_weight=False)
    search = search_counts(narrower, classes, budget)
    if search.best is None or search.best.sum() > hosts:
        return search.objective_bound > hosts
    counts = round_counts(narrower, classes, search.best)
    if counts is None:
        return False
    found = dataclasses.replace(sized, classes=classes, counts=counts)
    return _Step(narrower, kept, found)
