"""The later aims in order: bottlenecks that lead, over all counts; then costs; then what is left, for given counts.

Six sites on as few hosts: by round-trip time S5 goes to hub C; today it is at B, and with moves first it stays there.

>>> import planner
>>> from planner.sizing.six_sites import six_sites
>>> near = planner.plan(six_sites(then="latency"))
>>> near.hosts, [(row.site, row.hub) for row in near.assignments if row.site == "S5"]
(4, [('S5', 'C')])
>>> still = planner.plan(six_sites(then="moves latency"))
>>> still.hosts, [(row.site, row.hub) for row in still.assignments if row.site == "S5"]
(4, [('S5', 'B')])
>>> [(aim.aim, aim.value) for plan in (near, still) for aim in plan.then]
[('latency', 34.0), ('moves', 0.0), ('latency', 36.0)]
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.aims import Bottleneck, aim_of
from planner.sizing.solution.counts import Sized
from planner.sizing.solution.placement import Placement
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.bottleneck import bottleneck_bound, narrow
from planner.sizing.tie_breaks.swap_search import comparable, improve


def break_ties(
    case: Case, sized: Sized, budget: SolveBudget, *, thorough: bool
) -> tuple[Sized, Placement, Problem, dict[TieBreak, float]]:
    """Return counts of as many hosts, who goes where, the problem whose caps hosts shall keep, and bounds on aims.

    Sites and hosts must be comparable, see `comparable`, or the counts stay as they are and nothing is known of margin
    and spread. ``thorough`` spends about ten times the work.
    """
    problem, tie_breaks = case.problem, case.tie_breaks
    if not comparable(problem, sized) or not _bottlenecks(tie_breaks):
        sized, bounds, placement = improve(case, sized, budget, thorough=thorough)
        return sized, placement, problem, bounds
    left = narrow(problem, sized, tie_breaks, budget)
    within = case.narrowed(left.problem, left.pair, left.tie_breaks)
    found, bounds, placement = improve(within, left.sized, budget, thorough=thorough)
    for aim in _bottlenecks(left.tie_breaks):
        bounds[aim.name] = bottleneck_bound(left.problem, aim, left.sized, budget)
    sized, placement = left.in_whole(problem, sized.classes, found, placement)
    problem = dataclasses.replace(problem, caps=left.problem.caps)
    return sized, placement, problem, {**left.bounds, **bounds}


def _bottlenecks(tie_breaks: Sequence[TieBreak]) -> list[Bottleneck]:
    return [aim for aim in map(aim_of, tie_breaks) if isinstance(aim, Bottleneck)]
