"""One draft: its counts, who goes where among equals, who sits on which host; or with a standby for every site."""

from __future__ import annotations

import functools
from collections.abc import Mapping

from planner.sizing.assignment.aims_in_order import SecondaryCosts
from planner.sizing.host_counts.fewest_hosts import size
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.packing.seat_sites import seat_all
from planner.sizing.relaxed_limits import Drafted
from planner.sizing.solution.attained import attained_aims
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seating
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks import break_ties
from planner.sizing.tie_breaks.among_as_good import AmongAsGood
from planner.sizing.tie_breaks.moves_on_given_counts import with_fewer_moves
from planner.sizing.tie_breaks.moves_over_counts import MOST_PAIRS
from planner.sizing.tie_breaks.swap_search import comparable


def draft_plan(
    case: Case, budget: SolveBudget, secondary: SecondaryCosts | None, *, thorough: bool, limited: bool
) -> Drafted:
    """Return the best draft within the limits of ``case``; ``limited``: whether those of the fleet are more."""
    if case.fleet.policy.cover != "none":
        from planner.sizing.cover.covered_plan import plan_covered

        draft, bounds = plan_covered(case, budget)
        return draft, attained_aims(case, draft.placement, draft.in_use, bounds)
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
    by_pools = comparable(case.problem, sized)
    if not by_pools:
        draft, bounds = AmongAsGood(case, draft, budget).settle()
    told = functools.partial(attained_aims, case, by_pools=by_pools)
    attained = told(draft.placement, draft.seating, bounds)
    open_aims = {one.aim for one in attained if not one.proven}
    if budget.spent or not open_aims:
        return draft, attained
    if "moves" in open_aims and case.tie_breaks[:1] == ("moves",) and not case.problem.split:
        draft, bounds = _moving_fewest(case, draft, bounds, budget, by_pools=by_pools)
        attained = told(draft.placement, draft.seating, bounds)
        open_aims = {one.aim for one in attained if not one.proven}
    from planner.sizing.cover.exact_aims import settled_exactly

    proven = [one.aim for one in attained if one.proven]
    draft, exact = settled_exactly(case, draft, budget, proven, longer=thorough or "moves" in open_aims)
    if not exact:
        return draft, attained
    return draft, told(draft.placement, draft.seating, {**bounds, **exact})


def _moving_fewest(
    case: Case, draft: Draft, bounds: Mapping[TieBreak, float], budget: SolveBudget, *, by_pools: bool
) -> tuple[Draft, Mapping[TieBreak, float]]:
    """Return the plan of fewest moves that is as good as ``draft``, and what is known of its later aims.

    ``by_pools``: ``bounds`` are of plans that send no more sites to another pool than ``draft`` does.
    """
    if len(case.problem.pool) > MOST_PAIRS:  # too large there; loading it takes half a second
        return draft, bounds
    from planner.sizing.cover.fewest_moves import fewest_moves

    found, least = fewest_moves(case, draft, budget)
    if found is draft:
        sharper = max(least, bounds.get("moves", 0.0))
        return draft, {**bounds, "moves": sharper}
    known = {} if by_pools else bounds
    return found, {**known, "moves": least}
