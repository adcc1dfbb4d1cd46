"""Host counts against the loss of hubs and zones, the cheapest first, with what says that no cheaper ones do.

A cut search with a condition for each loss gives a first bound, and the search for reserve the counts that have homes
for divisible sites. At these counts homes are looked for that the later aims want.
"""

from __future__ import annotations

import numpy as np

from planner.arrays import int_zeros, rounded
from planner.fleet import Ints
from planner.sizing.cover.certificate import Evidence, find_evidence, sets_of
from planner.sizing.cover.homes import HomePreferences, find_homes, liked_room
from planner.sizing.cover.loss_conditions import loss_conditions
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.pair_flow import PairNetwork
from planner.sizing.cover.reserve_points import ReservePoints
from planner.sizing.cover.reserve_terms import Point
from planner.sizing.host_counts.cutting_planes import search_counts
from planner.sizing.host_counts.fewest_hosts import counts_decide
from planner.sizing.host_counts.hall_conditions import hall_conditions
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.host_counts.room_for_all import all_fit
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.instance.classes import group
from planner.sizing.solution.counts import Counts, Sized, objective_value
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.secondary_costs import secondary_cost

_LIKED_SITES = 2_000  # up to here room is also chosen by what homes would like


class ReserveCounts:
    """The search of one ``case`` in which everybody who can be is served and covered.

    ``points`` is None where something else than host counts decides, or where no counts would do.
    """

    def __init__(self, case: Case, losses: Losses, budget: SolveBudget) -> None:
        problem = case.problem
        self.case, self.losses, self.budget = case, losses, budget
        self.points: ReservePoints | None = None
        self._of_sites: PairNetwork | None = None
        by_counts = problem.sites and losses.kind != "host" and counts_decide(problem)
        if not by_counts or not all_fit(problem.of_the_day):
            return
        classes = group(problem, by_weight=False)
        self._plain = len(hall_conditions(problem, classes))
        more = loss_conditions(problem, classes, losses, self._plain)
        reference = reference_counts(problem, case.incumbent)
        self._search = search_counts(problem, classes.of_the_day, budget, reference, more)
        if self._search.best is not None:
            network = PairNetwork(classes, losses, problem.max_hosts, budget.seed)
            self.points = ReservePoints(problem, losses, network, self._search, budget)

    def evidence(self, target: float, budget: SolveBudget) -> Evidence | None:
        """Return sets that force ``target``: of the cuts that the search for reserve knew, else of all."""
        points = self.points
        assert points is not None
        problem, network = points.problem, points.network
        for cuts in (points.known_cuts(), self._search.cuts):
            of_cuts = sets_of(network, points.losses, cuts, self._plain)
            sets = [*points.model.cuts, *of_cuts]
            found = find_evidence(problem, network.classes, points.losses, sets, target, budget)
            if found is not None:
                return found
        return None

    def homes_at(self, point: Point) -> Sized | None:
        """Return homes with the hosts of a ``point``, as the later aims want them.

        None where sites of several clusters do not fit as they are put.
        """
        points, problem = self.points, self.case.problem
        assert points is not None
        if self._of_sites is None:  # a count cannot tell sites of a class apart, but their round-trip times differ
            each = group(problem, by_weight=False, apart=np.arange(problem.sites))
            self._of_sites = PairNetwork(each, self.losses, problem.max_hosts, self.budget.seed)
        network = self._of_sites
        wanted = self._preferences(network)
        at = [point]
        if problem.sites <= _LIKED_SITES and not self.budget.spent:
            at.append(liked_room(points, network, point, wanted))
        tried = [find_homes(points, network, one, wanted) for one in at]
        found = [homes for homes in tried if homes is not None]
        if not found:
            return None
        costs = [float(wanted.cost @ homes) for homes in found]
        nicest = found[int(np.argmin(costs))]
        nobody = int_zeros(network.classes.count)
        counts = Counts(rounded(point.hosts), nicest, nobody, nobody)
        value = objective_value(problem, network.classes, counts)
        return Sized(network.classes, counts, value, 0.0, False, "")

    def _preferences(self, network: PairNetwork) -> HomePreferences:
        """Return the later aims as costs of a flow, with those apart that come before spread."""
        case = self.case
        aims = case.tie_breaks
        before = aims[: aims.index("spread")] if "spread" in aims else aims

        def cost(of: tuple[TieBreak, ...]) -> Ints:
            return secondary_cost(case.problem, network.classes, case.incumbent, of, network.nodes)

        return HomePreferences(cost(aims), cost(before), "spread" in aims)
