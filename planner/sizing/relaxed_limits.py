"""Plans under limits on hubs, zones and hosts: first as if caps and numbers of hosts of each pool were the only ones.

A plan that keeps limits which nobody asked it to keep is the best of those that have to keep them, with the proofs and
later aims of the plain case. Where it breaks one, the problem with all limits is planned, and its bound still holds.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np

from planner.errors import SolverError
from planner.sizing.assignment.aims_in_order import SecondaryCosts
from planner.sizing.instance.case import Case
from planner.sizing.instance.problem import Problem, unlimited
from planner.sizing.solution.attained import Attained
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import running
from planner.sizing.solution.taken import Taken
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.secondary_costs import pool_of_today, secondary_costs

_FREE_SHARE = 0.5  # of the time that is left may go to the plan without limits
_CLOSE = 1e-6  # relative; a solver's rows hold no closer where weights have many decimals

Drafted = tuple[Draft, tuple[Attained, ...]]


def plan_within_limits(
    case: Case, budget: SolveBudget, make: Callable[[Case, SolveBudget, SecondaryCosts | None], Drafted]
) -> Drafted:
    """Return the best draft that ``make`` finds within all limits; SolverError where that breaks one of them."""
    problem = case.problem
    if not problem.limited:
        return make(case, budget, None)
    free, attained = make(case.of(unlimited(problem)), budget.part(_FREE_SHARE), None)
    if keeps_limits(problem, free):
        return free, attained
    least = 0.0 if free.placement.unserved.any() or free.sized.uncovered else free.sized.bound
    secondary = SecondaryCosts(least)
    if not problem.flows:
        secondary = SecondaryCosts(
            least,
            pool_of_today(problem, case.incumbent),
            lambda classes: secondary_costs(problem, classes, case.incumbent, case.tie_breaks),
        )
    draft, attained = make(case, budget, secondary)
    if not keeps_limits(problem, draft):
        raise SolverError("the plan that the solver found breaks a limit on hubs, zones, hosts or rack units")
    return _bounded(problem, draft, free), attained


def _bounded(problem: Problem, draft: Draft, free: Draft) -> Draft:
    """Return ``draft`` with the bound of a plan ``free`` of limits, where that one neither serves nor covers more."""
    left_out = draft.placement.unserved | free.placement.unserved
    bare = problem.weight_of(draft.bare)
    if left_out.any() or bare > problem.weight_of(free.bare):
        return draft
    sized = draft.sized
    known = min(sized.value, free.sized.bound)
    bound = max(sized.bound, known)
    told = dataclasses.replace(sized, bound=bound)
    return dataclasses.replace(draft, sized=told)


def keeps_limits(problem: Problem, draft: Draft) -> bool:
    """Say whether a plan keeps the limits on hubs, zones, the weight on hosts, and hosts and units of several pools."""
    if not problem.may_run(running(problem, draft)):
        return False
    taken = Taken(problem, draft.seating.seats)
    limited = zip(problem.limits, taken.used, strict=True)
    kept = all(used <= limit.most * (1 + _CLOSE) for limit, used in limited)
    most = np.inf if problem.host_weight is None else problem.host_weight
    heaviest = taken.carried.max(initial=0.0)
    return kept and bool(heaviest <= most * (1 + _CLOSE))
