"""The best plan by its aims in order, from the fleet to the Plan."""

from __future__ import annotations

import functools
import time
from collections.abc import Callable

from planner.fleet import Fleet
from planner.plan import Plan
from planner.rules import Checker
from planner.sizing.asked import asked_limit, refuse_unmodelled
from planner.sizing.assemble import assemble
from planner.sizing.draft_plan import draft_plan
from planner.sizing.instance.case import Case, case_of, later_aims
from planner.sizing.instance.problem import build_problem
from planner.sizing.relaxed_limits import plan_within_limits
from planner.sizing.solvers.budget import Progress, SolveBudget


def best_plan(
    fleet: Fleet,
    *,
    time_limit: float | None = None,
    seed: int = 0,
    thorough: bool = False,
    watch: Callable[[Progress], bool | None] | None = None,
) -> Plan:
    """Return the best plan for ``fleet``: most weight served, the objective, then the aims of policy ``then``.

    ``time_limit``, ``seed``, ``thorough``, ``watch`` and what is raised are those of `planner.plan`.
    """
    limit = asked_limit(time_limit, seed)
    refuse_unmodelled(fleet)
    began = time.perf_counter()
    budget = SolveBudget(seconds=limit, seed=seed, watch=watch)
    checker = Checker.of(fleet)
    case = case_for(fleet, checker)
    eligible = time.perf_counter()
    with budget.listening():
        make = functools.partial(draft_plan, thorough=thorough, limited=case.problem.limited)
        draft, attained = plan_within_limits(case, budget, make)
        result = assemble(case, checker, draft, attained, budget)
    seconds = {"eligibility": eligible - began, "solve": time.perf_counter() - eligible}
    return result.replace(seconds=seconds)


def case_for(fleet: Fleet, checker: Checker) -> Case:
    """Return the case of ``fleet`` with the aims of its policy."""
    problem = build_problem(fleet, checker)
    if fleet.policy.cover != "none":
        from planner.sizing.cover.losses import own_rather_than_bare

        problem = own_rather_than_bare(fleet, problem)
    return case_of(fleet, problem, later_aims(fleet))
