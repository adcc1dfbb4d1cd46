"""Host counts against the loss of hubs and zones, the cheapest first, with what says that no cheaper ones do.

A cut search with a condition for each loss gives a first bound, and the search for reserve the counts that have homes
for divisible sites.
"""

from __future__ import annotations

from planner.sizing.cover.certificate import Evidence, find_evidence, sets_of
from planner.sizing.cover.loss_conditions import loss_conditions
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.pair_flow import PairNetwork
from planner.sizing.cover.reserve_points import ReservePoints
from planner.sizing.host_counts.cutting_planes import search_counts
from planner.sizing.host_counts.fewest_hosts import counts_decide
from planner.sizing.host_counts.hall_conditions import hall_conditions
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.host_counts.room_for_all import all_fit
from planner.sizing.instance.case import Case
from planner.sizing.instance.classes import group
from planner.sizing.solvers.budget import SolveBudget


class ReserveCounts:
    """The search of one ``case`` in which everybody who can be is served and covered.

    ``points`` is None where something else than host counts decides, or where no counts would do.
    """

    def __init__(self, case: Case, losses: Losses, budget: SolveBudget) -> None:
        problem = case.problem
        self.points: ReservePoints | None = None
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
