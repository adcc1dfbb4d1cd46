"""Judges host counts by what a flow makes of them, and keeps the best."""

from __future__ import annotations

import dataclasses
import time

from planner.arrays import as_floats
from planner.fleet import Bools, Floats, Ints
from planner.sizing.host_counts.rounding import round_counts
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.packing.pools import unpacked
from planner.sizing.solution.aims import PairAim, aim_of
from planner.sizing.solution.counts import Counts, Sized
from planner.sizing.solution.placement import PairCost, Placement
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.fractional_assignment import most_used, preferred_arcs
from planner.sizing.tie_breaks.lexicographic import place

# A flow cannot be stopped: one begins while there is time for it, for the last one, and for seating and telling.
RESERVED_FLOWS = 3.0


class FlowEvaluator:
    """The best counts so far, as ``sized`` and ``placement``; it looks at ``looks`` more at most.

    The aims of ``case``, all of them sums over pairs, and their ``costs`` decide, in order; ``incumbent`` (E,) marks
    pairs that keep a site where it is. ``flow_seconds``: what the slowest flow took.
    """

    def __init__(self, case: Case, sized: Sized, placement: Placement, looks: int, budget: SolveBudget) -> None:
        self.case = case
        self.problem = case.problem
        self.incumbent = case.incumbent
        self.sized, self.placement = sized, placement
        self.looks, self.budget = looks, budget
        self.costs = self._costs()
        self.seen: set[tuple[bytes, bytes]] = set()
        self.flow_seconds = 0.0

    def _costs(self) -> list[PairCost]:
        aims = map(aim_of, self.aims)
        sums = [aim for aim in aims if isinstance(aim, PairAim)]
        return [aim.cost(self.problem, self.incumbent) for aim in sums]

    @property
    def aims(self) -> tuple[TieBreak, ...]:
        """The aims that decide."""
        return self.case.tie_breaks

    @property
    def first_served(self) -> float:
        """Sites without a host today: they leave no pool and do not move, and yet count in the costs of moves."""
        return float(self.case.in_force.nowhere.sum())

    @property
    def spent(self) -> bool:
        """Whether no more counts can be looked at."""
        reserved = RESERVED_FLOWS * self.flow_seconds
        return self.looks <= 0 or not self.budget.allows(reserved)

    @property
    def values(self) -> tuple[float, ...]:
        """What the best placement makes of the aims."""
        return self.placement.costs

    def stay_only(self, keeps: Bools) -> None:
        """Take from now on only the pairs ``keeps`` (E,) for those that keep a site where it is."""
        found = place(self.problem, self.sized, keeps, self.aims)
        if found is not None:
            self.incumbent, self.placement = keeps, found
            self.costs = self._costs()
            self.seen.clear()

    def try_counts(self, hosts: Ints, shares: Floats | None = None) -> bool:
        """Say whether ``hosts`` (P,) are better than the best so far, and keep them if they are.

        Sites whose clusters stay together go where most of their ``shares`` (E,) are; if None, a flow says where.
        """
        if self.spent or not self._comparable(hosts):
            return False
        wished = None
        if shares is not None:
            wished = most_used(self.problem, self.sized.classes, shares)
        case = hosts.tobytes(), b"" if wished is None else wished.tobytes()
        if case in self.seen:
            return False
        self.seen.add(case)
        self.looks -= 1
        began = time.monotonic()
        return self._keep(self._realised(hosts, wished), began)

    def try_flow(self, hosts: Ints, flow: Ints) -> bool:
        """Say the same of ``hosts`` (P,) with so many sites of several clusters on each arc: ``flow`` (A,)."""
        if self.spent or not self._comparable(hosts):
            return False
        self.looks -= 1
        began = time.monotonic()
        classes = self.sized.classes
        counts: Counts | None = Counts.of_hosts(classes, hosts, as_floats(flow))
        if flow.any() and unpacked(self.problem, classes, hosts, as_floats(flow), self.budget):
            counts = self._rounded(hosts, flow)
        return self._keep(counts, began)

    def _comparable(self, hosts: Ints) -> bool:
        """Say whether ``hosts`` (P,) are as many as the best so far, and may run."""
        as_many = hosts.sum() == self.sized.counts.hosts.sum()
        return bool(as_many) and self.problem.may_run(hosts)

    def _keep(self, counts: Counts | None, began: float) -> bool:
        """Keep counts, looked at since ``began``, if they are better than the best so far."""
        if counts is None:
            return False
        sized = dataclasses.replace(self.sized, counts=counts)
        placement = place(self.problem, sized, self.incumbent, self.aims)
        self.flow_seconds = max(self.flow_seconds, time.monotonic() - began)
        if placement is None or not _less(placement.costs, self.placement.costs):
            return False
        self.sized, self.placement = sized, placement
        self.budget.tell("moves and round trips", sized.value, sized.bound)
        return True

    def _realised(self, hosts: Ints, wished: Ints | None) -> Counts | None:
        problem, classes = self.problem, self.sized.classes
        if not classes.multi_cluster.any():
            return round_counts(problem, classes, hosts)
        if wished is None:
            wished = preferred_arcs(problem, classes, hosts, self.costs)
        if wished is None:
            return None
        return self._rounded(hosts, wished)

    def _rounded(self, hosts: Ints, wished: Ints) -> Counts | None:
        """Return counts with sites of several clusters where they are ``wished``, or else somewhere."""
        problem, classes = self.problem, self.sized.classes
        found = round_counts(problem, classes, hosts, wished)
        return found or round_counts(problem, classes, hosts)


def _less(left: tuple[float, ...], right: tuple[float, ...]) -> bool:
    """Compare costs in order, to half a microsecond."""
    for a, b in zip(left, right, strict=True):
        if abs(a - b) > 5e-4:
            return a < b
    return False
