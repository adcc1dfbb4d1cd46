"""One draft: its counts, who goes where among equals, who sits on which host; or with a standby for every site."""

from __future__ import annotations

from planner.sizing.host_counts.fewest_hosts import SecondaryCosts, size
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.instance.case import Case
from planner.sizing.packing.hosts import seat_all
from planner.sizing.solution.attained import attained_aims
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seating
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks import break_ties
from planner.sizing.tie_breaks.among_as_good import AmongAsGood
from planner.sizing.tie_breaks.running_hosts import with_fewer_moves
from planner.sizing.tie_breaks.swap_search import comparable
from planner.sizing.within_limits import Drafted


def draft_plan(
    case: Case, budget: SolveBudget, secondary: SecondaryCosts | None, *, thorough: bool, limited: bool
) -> Drafted:
    """Return the best draft within the limits of ``case``; ``limited``: whether those of the fleet are more."""
    if case.fleet.policy.cover != "none":
        from planner.sizing.cover.covered_plan import plan_covered

        draft, bounds = plan_covered(case, budget)
        return draft, attained_aims(case, draft.placement, draft.seating, bounds)
    sized = size(case.problem, budget, reference_counts(case.problem, case.incumbent), secondary)
    sized, placement, lowered, bounds = break_ties(case, sized, budget, thorough=thorough)
    within = case.of(lowered)

    def seat(placement: Placement) -> Seating:
        return seat_all(within, sized.counts.hosts, placement, budget)

    made = placement, seat(placement)
    if not limited and not budget.spent:
        made = with_fewer_moves(within, sized, made, seat)
    placement, seating = made
    draft = Draft(sized, placement, seating, (None,) * len(seating.seats))
    if comparable(case.problem, sized):
        return draft, attained_aims(case, placement, seating, bounds, by_pools=True)
    draft, bounds = AmongAsGood(case, draft, budget).settle()
    return draft, attained_aims(case, draft.placement, draft.seating, bounds)
