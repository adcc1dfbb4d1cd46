"""Plans against the loss of hubs and zones with the hosts of a point that the search for reserve found.

Homes come from flows, and sites that then lack a standby are put anew. Where flows have no homes for sites of several
clusters, the plan is made near shares of divisible sites.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

import numpy as np

from planner.arrays import rounded
from planner.sizing.cover.finish import finished
from planner.sizing.cover.homes import find_homes, liked_room
from planner.sizing.cover.pair_flow import PairNetwork
from planner.sizing.cover.primal_search.drafts import state_of
from planner.sizing.cover.primal_search.from_counts import PlansFromCounts
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.state import Found
from planner.sizing.cover.reserve_points import ReservePoints
from planner.sizing.cover.reserve_terms import Point
from planner.sizing.cover.standbys import find_standbys
from planner.sizing.instance.case import Case
from planner.sizing.instance.classes import group
from planner.sizing.packing.seat_sites import seat_all
from planner.sizing.solution.counts import Counts, Sized, objective_value
from planner.sizing.solution.draft import Draft
from planner.sizing.tie_breaks.lexicographic import placed
from planner.sizing.tie_breaks.secondary_costs import pool_of_today, secondary_cost

_SINGLE_SITES = 20_000  # up to here homes are chosen for every site by itself
_LIKED_SITES = 2_000  # up to here room is also chosen by what homes would like
_FOR_STANDBYS = 0.2  # of the time that is left, at one seating


class PlansAtPoints:
    """The plans of one case, at ``points``; ``plans`` makes them near shares."""

    def __init__(self, case: Case, ground: Ground, points: ReservePoints, plans: PlansFromCounts) -> None:
        self.case, self.ground = case, ground
        self.points, self.plans = points, plans
        self.budget = plans.budget

    def at(self, point: Point) -> Draft | None:
        """Return a plan with the hosts of a ``point`` in which everybody who can be is served and covered, or None."""
        sized = self._homes_at(point)
        state = None
        if sized is not None:
            for draft in self._seated(sized):
                if not self.ground.coverable[draft.bare].any():
                    return draft
            state = self.plans.plan_near(state_of(self.ground, draft), self.budget)
        if state is None:
            state = self.plans.plan_at(rounded(point.hosts), self.budget)
        return None if state is None else finished(self.case, Found(state, self.plans.bare), self.budget)

    def _homes_at(self, point: Point) -> Sized | None:
        """Return homes with the hosts of a ``point``, as the later aims want them.

        None where sites of several clusters do not fit as they are put.
        """
        case, network = self.case, self._network
        cost = secondary_cost(case.problem, network.classes, case.incumbent, case.tie_breaks, network.nodes)
        at = [point]
        if case.problem.sites <= _LIKED_SITES and not self.budget.spent:
            at.append(liked_room(self.points, network, point, cost))
        tried = [find_homes(self.points, network, one, cost) for one in at]
        found = [homes for homes in tried if homes is not None]
        if not found:
            return None
        nicest = min(found, key=lambda homes: float(cost @ homes))
        counts = Counts.of_hosts(network.classes, rounded(point.hosts), nicest)
        value = objective_value(case.problem, network.classes, counts)
        return Sized(network.classes, counts, value, 0.0, False, "")

    @cached_property
    def _network(self) -> PairNetwork:
        """The network of single sites: counts cannot tell those of a class apart, but their round-trip times differ."""
        problem = self.case.problem
        single = problem.sites <= _SINGLE_SITES
        apart = np.arange(problem.sites) if single else pool_of_today(problem, self.case.incumbent)
        each = group(problem, by_weight=False, apart=apart)
        return PairNetwork(each, self.ground.losses, problem.max_hosts, self.budget.seed)

    def _seated(self, sized: Sized) -> Iterator[Draft]:
        """Yield ways to seat everybody: first the one of fewest moves, then one that finds room for more standbys.

        In the second, what stays free in a pool is gathered on one host, where sites of several clusters find it.
        """
        case = self.case
        placement = placed(case.problem, sized, case.incumbent, case.tie_breaks)
        for gathered in (False, True):
            budget = self.budget.part(_FOR_STANDBYS)
            seating = seat_all(case, sized.counts.hosts, placement, budget, gathered=gathered)
            standbys = find_standbys(case.problem, self.ground.losses, seating, budget)
            yield Draft(sized, placement, seating, standbys)
