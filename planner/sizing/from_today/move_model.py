"""Fewest moves with at most so many hosts: the class flow model with a move as the only price."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np

from planner.arrays import as_floats
from planner.fleet import Bools, Floats, Ints
from planner.plan import Assignment, Host, NoHostNeeded, Plan
from planner.rules import Checker
from planner.sizing.assemble import hosts_and_assignments, no_host_needed
from planner.sizing.assignment.flow_model import FlowModel
from planner.sizing.from_today.by_host import ByHost
from planner.sizing.instance.case import case_of
from planner.sizing.instance.classes import group
from planner.sizing.instance.problem import build_problem
from planner.sizing.packing.seat_sites import seat_all
from planner.sizing.solution.counts import Aim as AimOfCounts
from planner.sizing.solution.counts import Sized, objective_value
from planner.sizing.solution.draft import Draft
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.lexicographic import placed


@dataclass(frozen=True)
class Fewest:
    """What the model says: a ``bound`` on moves, and ``sized`` with hosts and moves of the best plan that was found.

    ``gone`` sites of Current need no shared host any more; they are in ``bound`` and `moves`, and not in ``sized``.
    """

    bound: int
    sized: Sized | None
    gone: int

    @property
    def moves(self) -> int | None:
        """Sites of Current that change host; None where no plan was found."""
        if self.sized is None:
            return None
        return round(self.sized.value) + self.gone


@dataclass(frozen=True)
class Named:
    """A plan by name: its moves, hosts of the split fleet, assignments, and sites without need or without a host."""

    moves: int
    hosts: tuple[Host, ...]
    assignments: tuple[Assignment, ...]
    no_host_needed: tuple[NoHostNeeded, ...]
    left_out: frozenset[str]


class MoveModel:
    """The sites of a split fleet with a price of 1 on every pair that takes a site of Current off its host.

    All plans that it compares leave out no more weight, and use no more own tie-breakers, than ``plan`` does: both
    come before moves. A site of Current that goes over to its own tie-breaker moves too. Own tie-breakers have a price
    on top that is less than a move for all of them together, so that of as few the cheapest are used.
    """

    def __init__(self, split: ByHost, plan: Plan) -> None:
        self.fleet = split.fleet
        self._checker = Checker.of(self.fleet)
        problem = build_problem(self.fleet, self._checker)
        self._case = case_of(self.fleet, problem)
        today = self._case.in_force
        self._stays, self._gone = today.incumbent, today.gone
        in_force: Floats = as_floats(~today.nowhere)
        self.problem = dataclasses.replace(
            problem,
            objective="cost",
            host_cost=np.zeros(problem.pools),
            pair_cost=np.where(self._stays, 0.0, in_force[problem.site]),
            own_cost=in_force + _small(problem.own_cost),
        )
        self._case = self._case.of(self.problem)
        ids = [self.fleet.site_ids[at] for at in problem.site_at]
        out = np.isin(ids, [entry.site for entry in plan.unserved])
        self._left_out: dict[AimOfCounts, Ints] = {
            "unserved_kept": problem.weights[out & problem.kept],
            "unserved_weight": problem.weights[out],
        }
        spared = {entry.site for entry in plan.no_host_needed}
        self._own = sum(site in spared for site in ids)

    def solve(self, most_hosts: int, budget: SolveBudget) -> Fewest:
        """Return the fewest moves with at most ``most_hosts`` hosts."""
        problem = self.problem
        somebody = len(self._left_out["unserved_weight"]) > 0
        model = FlowModel(problem, group(problem, by_weight=somebody), serve_all=not somebody)
        for aim, weights in self._left_out.items() if somebody else ():
            model.fix_objective(aim, float(weights.sum()))
        model.fix_objective("hosts", most_hosts)
        if len(model.own_of):
            model.fix_objective("own", self._own)
        outcome, counts = model.minimise("cost", budget)
        # The price of own tie-breakers is in the bound, and less than half.
        least = max(0.0, outcome.bound - 0.5)
        bound = math.ceil(least) if math.isfinite(least) else 0
        if counts is None:
            return Fewest(bound + self._gone, None, self._gone)
        moves = objective_value(problem, model.classes, counts)
        most = round(moves)
        bound = most if outcome.state == "optimal" else min(most, bound)
        sized = Sized(model.classes, counts, moves, float(bound), True, outcome.word)
        return Fewest(bound + self._gone, sized, self._gone)

    def named(self, sized: Sized, budget: SolveBudget) -> Named:
        """Return the plan with the fewest moves on the hosts of ``sized``, and among equals the least total RTT.

        Moves are fewer than those of ``sized`` where it was not solved to the end.
        """
        problem = self.problem
        placement = placed(problem, sized, self._stays, ("latency",))
        seating = seat_all(self._case, sized.counts.hosts, placement, budget)
        draft = Draft(sized, placement, seating, (None,) * len(seating.seats))
        hosts, rows = hosts_and_assignments(self._case, draft)
        moves = self._case.in_force.moved(seating.seats, placement.own)
        own = self._ids(placement.own)
        out = self._ids(placement.unserved)
        spared = no_host_needed(self.fleet, own)
        return Named(moves, tuple(hosts), tuple(rows), spared, frozenset(out))

    def _ids(self, marks: Bools) -> set[str]:
        """Return the ids of the sites that ``marks`` (S,) marks."""
        return {self.fleet.site_ids[at] for at in self.problem.site_at[marks]}


def _small(own_cost: Floats) -> Floats:
    """Return ``own_cost`` (S,) in a unit in which all that are possible together make a quarter."""
    possible = np.isfinite(own_cost)
    together = float(own_cost[possible].sum()) or 1.0
    each = own_cost + 1e-3 * together  # none is free
    quarter = 4 * float(each[possible].sum()) or 1.0
    return np.where(possible, each / quarter, np.inf)
