"""The draft of a state host by host, in which sites go where the aims want them."""

from __future__ import annotations

from planner.sizing.cover.primal_search.drafts import draft_of
from planner.sizing.cover.primal_search.polish import HomeCost, settled_by_cost, weighed, with_more_inside
from planner.sizing.cover.primal_search.state import Found
from planner.sizing.instance.case import Case
from planner.sizing.solution.aims import costs_of
from planner.sizing.solution.draft import Draft
from planner.sizing.solvers.budget import SolveBudget


def finished(case: Case, found: Found, budget: SolveBudget, *, later_aims: bool = True) -> Draft:
    """Return the draft of a state, in which sites go where the aims want them as far as there is room.

    ``later_aims``: also those after the objective, which in large fleets takes longer than all else.
    """
    problem, state = case.problem, found.state
    costs = [problem.pair_cost] if problem.objective == "cost" else []
    if not costs and problem.may_own.any():
        state = with_more_inside(state, found.bare, budget)
    if later_aims:
        later = costs_of(problem, case.incumbent, case.tie_breaks)
        costs += [cost.values for cost in later]
    if costs:
        state = settled_by_cost(state, found.bare, HomeCost(weighed(costs)), budget)
    return draft_of(case, state)
