"""Fewest moves with at most so many hosts: the class flow model with a move as the only price."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from planner.fleet import Fleet, Floats
from planner.plan import Assignment, Host, NoHostNeeded
from planner.rules import Checker
from planner.sizing.assemble import hosts_and_assignments, no_host_needed
from planner.sizing.assignment.flow_model import FlowModel
from planner.sizing.host_counts.fewest_hosts import minimise
from planner.sizing.instance.case import Case
from planner.sizing.instance.classes import group
from planner.sizing.instance.incumbent import today_of
from planner.sizing.instance.problem import build_problem, restrict
from planner.sizing.packing.hosts import seat_all
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
        """Sites of Current that leave their pool; None where no plan was found."""
        return None if self.sized is None else round(self.sized.value) + self.gone


class MoveModel:
    """The sites of a fleet with a price of 1 on every pair that takes a site of Current off its pool.

    The sites ``left_out`` are no part of it: all plans that it compares serve the same sites. A site of Current that
    goes over to its own tie-breaker moves too. Own tie-breakers have a price on top that is
    less than a move for all of them together, so that they are used where they save a move or a host, and only there.
    """

    def __init__(self, fleet: Fleet, left_out: Collection[str] = ()) -> None:
        self.fleet = fleet
        self._checker = Checker.of(fleet)
        problem = build_problem(fleet, self._checker)
        served = np.array([fleet.site_ids[at] not in left_out for at in problem.site_at], dtype=np.bool_)
        problem = dataclasses.replace(restrict(problem, served), own_cost=problem.own_cost[served])
        self._case = Case(fleet, problem, today_of(fleet, problem))
        today = self._case.in_force
        self._stays, self._gone = today.incumbent, today.gone
        in_force: Floats = (~today.nowhere).astype(np.float64)
        self.problem = dataclasses.replace(
            problem,
            objective="cost",
            host_cost=np.zeros(problem.pools),
            pair_cost=np.where(self._stays, 0.0, in_force[problem.site]),
            own_cost=in_force + _small(problem.own_cost),
        )
        self._case = self._case.of(self.problem)

    def solve(self, most_hosts: int, budget: SolveBudget) -> Fewest:
        """Return the fewest moves with at most ``most_hosts`` hosts."""
        problem = self.problem
        model = FlowModel(problem, group(problem, by_weight=False), serve_all=True)
        model.fix_objective("hosts", most_hosts)
        outcome, counts = minimise(model, "cost", budget)
        # The price of own tie-breakers is in the bound, and less than half.
        bound = max(0, math.ceil(outcome.bound - 0.5)) if math.isfinite(outcome.bound) else 0
        if counts is None:
            return Fewest(bound + self._gone, None, self._gone)
        moves = objective_value(problem, model.classes, counts)
        bound = round(moves) if outcome.state == "optimal" else min(round(moves), bound)
        sized = Sized(model.classes, counts, moves, float(bound), True, outcome.word)
        return Fewest(bound + self._gone, sized, self._gone)

    def named(
        self, sized: Sized, budget: SolveBudget
    ) -> tuple[int, tuple[Host, ...], tuple[Assignment, ...], tuple[NoHostNeeded, ...]]:
        """Return moves, hosts, assignments and sites without need for the hosts of ``sized``: the fewest moves on them.

        Among equals the total RTT is least. Moves are fewer than those of ``sized`` where it was not solved to the end.
        """
        placement = placed(self.problem, sized, self._stays, ("latency",))
        seating = seat_all(self._case, sized.counts.hosts, placement, budget)
        draft = Draft(sized, placement, seating, (None,) * len(seating.seats))
        hosts, rows = hosts_and_assignments(self._case, self._checker, draft)
        own = {self.fleet.site_ids[self.problem.site_at[s]] for s in np.flatnonzero(placement.own)}
        moves = round(float(self.problem.pair_cost[placement.pair].sum() + self.problem.own_cost[placement.own].sum()))
        return moves + self._gone, tuple(hosts), tuple(rows), no_host_needed(self.fleet, own)


def _small(own_cost: Floats) -> Floats:
    """Return ``own_cost`` (S,) in a unit in which all that are possible together make a quarter."""
    possible = np.isfinite(own_cost)
    each = own_cost + 1e-3 * (float(own_cost[possible].sum()) or 1.0)  # none is free
    return np.where(possible, each / (4 * float(each[possible].sum()) or 1.0), np.inf)
