"""The best plan by its aims in order: its counts, who goes where among equals, who sits on which host."""

from __future__ import annotations

import functools
import time
from collections.abc import Callable

from planner.fleet import Fleet
from planner.plan import Plan
from planner.rules import Checker
from planner.sizing.asked import asked_limit, refuse_unmodelled
from planner.sizing.assemble import assemble
from planner.sizing.host_counts.cutting_planes import reference_counts
from planner.sizing.host_counts.fewest_hosts import SecondaryCosts, size
from planner.sizing.instance.case import Case, later_aims
from planner.sizing.instance.incumbent import today_of
from planner.sizing.instance.problem import build_problem
from planner.sizing.packing.hosts import seat_all
from planner.sizing.solution.attained import attained_aims
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seating
from planner.sizing.solvers.budget import Progress, SolveBudget
from planner.sizing.tie_breaks import break_ties
from planner.sizing.tie_breaks.among_as_good import AmongAsGood
from planner.sizing.tie_breaks.running_hosts import with_fewer_moves
from planner.sizing.tie_breaks.swap_search import comparable
from planner.sizing.within_limits import Drafted, plan_within_limits


def best_plan(
    fleet: Fleet,
    *,
    time_limit: float | None = None,
    seed: int = 0,
    thorough: bool = False,
    watch: Callable[[Progress], bool | None] | None = None,
) -> Plan:
    """Return the best plan for ``fleet``: most weight served, the objective, then the aims of policy ``then``.

    ``time_limit`` is in seconds from the call on; at the limit, or at Ctrl-C in the main thread, the best plan so far
    comes back with its gap, and is ``feasible`` unless it is proven by then. The same fleet and ``seed`` give the same
    plan whatever the order of rows, unless time ends it. ``thorough`` spends about ten times the work on the later
    aims; the objective does not depend on it. ``watch`` is called with the progress as it happens; where it
    returns False, the best plan so far comes back.

    Raises InputError for a time limit or seed that is none, and where the fleet asks for a combination that is not
    modelled, or has more clusters or weights further apart than can be counted exactly; SolverError when the solver
    fails.
    """
    limit = asked_limit(time_limit, seed)
    refuse_unmodelled(fleet)
    tie_breaks = later_aims(fleet)
    began = time.perf_counter()
    budget = SolveBudget(seconds=limit, seed=seed, watch=watch)
    checker = Checker.of(fleet)
    problem = build_problem(fleet, checker)
    if fleet.policy.cover != "none":
        from planner.sizing.cover.covered_plan import own_rather_than_bare

        problem = own_rather_than_bare(fleet, problem)
    case = Case(fleet, problem, today_of(fleet, problem), tie_breaks)
    eligible = time.perf_counter()
    with budget.listening():
        make = functools.partial(_drafted, thorough=thorough, limited=problem.limited)
        draft, attained = plan_within_limits(case, budget, make)
        result = assemble(case, checker, draft, attained, budget)
    seconds = {"eligibility": eligible - began, "solve": time.perf_counter() - eligible}
    return result.replace(seconds=seconds)


def _drafted(
    case: Case, budget: SolveBudget, secondary: SecondaryCosts | None, *, thorough: bool, limited: bool
) -> Drafted:
    """Return the best draft within the limits of ``case``; ``limited``: whether those of the fleet are more."""
    problem = case.problem
    if case.fleet.policy.cover != "none":
        from planner.sizing.cover.covered_plan import plan_covered

        draft, bounds = plan_covered(case, budget)
        return draft, attained_aims(case, draft.placement, draft.seating, bounds)
    sized = size(problem, budget, reference_counts(problem, case.incumbent), secondary)
    sized, placement, lowered, bounds = break_ties(case, sized, budget, thorough=thorough)
    within = case.of(lowered)

    def seat(placement: Placement) -> Seating:
        return seat_all(within, sized.counts.hosts, placement, budget)

    made = placement, seat(placement)
    if not limited and not budget.spent:
        made = with_fewer_moves(within, sized, made, seat)
    placement, seating = made
    draft = Draft(sized, placement, seating, (None,) * len(seating.seats))
    if comparable(problem, sized):
        return draft, attained_aims(case, placement, seating, bounds, by_pools=True)
    draft, bounds = AmongAsGood(case, draft, budget).settle()
    return draft, attained_aims(case, draft.placement, draft.seating, bounds)
