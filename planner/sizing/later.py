"""The later aims in order: bottlenecks that lead, over all counts; then costs; then what is left, for given counts."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from planner.fleet import Bools
from planner.sizing.bottleneck import BOTTLENECKS, bottleneck_bound, narrow
from planner.sizing.counts import Sized
from planner.sizing.location import comparable, improve
from planner.sizing.placement import Later, Placement
from planner.sizing.problem import Problem
from planner.sizing.solver import Effort


def by_later_aims(
    problem: Problem, sized: Sized, stays: Bools, then: Sequence[Later], effort: Effort, *, thorough: bool
) -> tuple[Sized, Placement, Problem, dict[Later, float]]:
    """Return counts of as many hosts, who goes where, the problem whose caps hosts shall keep, and bounds on aims.

    ``stays`` (E,) marks pairs that keep a site where it is today. Sites and hosts must be comparable, see `comparable`,
    or the counts stay as they are and nothing is known of margin and spread.
    """
    if not comparable(problem, sized) or not set(then) & set(BOTTLENECKS):
        sized, bounds, placement = improve(problem, sized, stays, then, effort, thorough=thorough)
        return sized, placement, problem, bounds
    left = narrow(problem, sized, then, effort)
    found, bounds, placement = improve(left.problem, left.sized, stays[left.pair], left.then, effort, thorough=thorough)
    for aim in set(left.then) & set(BOTTLENECKS):
        bounds[aim] = bottleneck_bound(left.problem, aim, left.sized, effort)
    sized, placement = left.in_whole(problem, sized.classes, found, placement)
    return sized, placement, dataclasses.replace(problem, caps=left.problem.caps), {**left.bounds, **bounds}
