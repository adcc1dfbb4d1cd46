"""Plans under limits on hubs, zones and the weight on hosts: first as if the caps of hosts were the only limits.

A plan that keeps limits which nobody asked it to keep is the best of those that have to keep them, with the proofs and
later aims of the plain case. Where it breaks one, the problem with all limits is planned, and its bound still holds.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable, Sequence

import numpy as np

from planner.errors import SolverError
from planner.fleet import Bools
from planner.sizing.arc_costs import later_costs, pool_of_today
from planner.sizing.counts import Wishes
from planner.sizing.draft import Draft
from planner.sizing.levels import Level
from planner.sizing.placement import Later
from planner.sizing.problem import Problem, unlimited
from planner.sizing.solver import Effort

_FREE_SHARE = 0.5  # of the time that is left may go to the plan without limits
_CLOSE = 1e-6  # relative; a solver's rows hold no closer where weights have many decimals

Drafted = tuple[Draft, tuple[Level, ...]]


def plan_within_limits(
    problem: Problem,
    stays: Bools,
    then: Sequence[Later],
    effort: Effort,
    make: Callable[[Problem, Effort, Wishes | None], Drafted],
) -> Drafted:
    """Return the best draft that ``make`` finds within all limits; ``stays`` (E,) marks pairs that keep a site."""
    if not problem.limited:
        return make(problem, effort, None)
    free, levels = make(unlimited(problem), _part(effort), None)
    if keeps_limits(problem, free):
        return free, levels
    least = 0.0 if free.placement.unserved.any() or free.sized.uncovered else free.sized.bound
    wishes = Wishes(least)
    if not problem.flows:
        wishes = Wishes(
            least, pool_of_today(problem, stays), lambda classes: later_costs(problem, classes, stays, then)
        )
    draft, levels = make(problem, effort, wishes)
    if not keeps_limits(problem, draft):
        raise SolverError("the plan that the solver found breaks a limit on hubs, zones or the weight on hosts")
    return draft, levels


def _part(effort: Effort) -> Effort:
    """Return an effort that ends when a part of what is left has gone, and with ``effort``."""
    if effort.left is None:
        return effort
    gone = time.monotonic() - effort.started
    return dataclasses.replace(effort, seconds=gone + _FREE_SHARE * effort.left)


def keeps_limits(problem: Problem, draft: Draft) -> bool:
    """Say whether a plan keeps the limits on hubs, zones and the weight on hosts."""
    seats = draft.seating.seats
    site, pool = (np.array([getattr(seat, name) for seat in seats], dtype=np.int64) for name in ("site", "pool"))
    share = np.array([seat.clusters for seat in seats], dtype=np.float64) / problem.clusters[site]
    for limit in problem.limits:
        if (problem.amounts[limit.measure][site] * share)[limit.pools[pool]].sum() > limit.most * (1 + _CLOSE):
            return False
    if problem.host_weight is None:
        return True
    _, host = np.unique(np.array([seat.host for seat in seats], dtype=np.str_), return_inverse=True)
    carried = np.bincount(host, weights=problem.weights[site] * share)
    return bool((carried <= problem.host_weight * (1 + _CLOSE)).all())
