"""Moves against hosts: how many moves a further host saves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.plan import Plan
from planner.sizing.from_today.extra_hosts import MoreHosts
from planner.sizing.solvers.budget import SolveBudget


@dataclass(frozen=True, slots=True)
class Point:
    """With at most ``hosts`` hosts ``moves`` sites change host, and no plan of as many changes fewer than ``bound``."""

    hosts: int
    moves: int
    bound: int

    @property
    def proven(self) -> bool:
        """Whether moves and bound meet."""
        return self.moves <= self.bound


def trade_off(
    fleet: Fleet,
    plan: Plan,
    *,
    most: int = 10,
    time_limit: float | None = None,
    seed: int = 0,
    tell: Callable[[str], None] = lambda _words: None,
) -> tuple[Point, ...]:
    """Return the fewest moves for the hosts of ``plan`` and for up to ``most`` hosts more, until more hosts save none.

    A move is a site whose host is another than that of Current; who is attached first is none. Every point is of plans
    that serve and cover as much weight as ``plan`` does. ``time_limit`` is in seconds for all of them together.

    Raises InputError where the policy splits sites.
    """
    _refuse(fleet)
    more = MoreHosts(fleet, plan)
    budget = SolveBudget(seconds=time_limit, seed=seed)
    points: list[Point] = []
    with budget.listening():
        tell("the fewest moves with any number of hosts")
        _, least = more.moves(int(more.case.problem.max_hosts.sum()), budget)
        for hosts in range(plan.hosts, plan.hosts + most + 1):
            tell(f"the fewest moves with {hosts} hosts")
            moves, bound = more.moves(hosts, budget)
            moves = min([moves, *(point.moves for point in points[-1:])])  # plans of fewer hosts are plans of these too
            points.append(Point(hosts, moves, max(bound, least)))
            if budget.spent or moves <= least:
                break
    return tuple(points)


def _refuse(fleet: Fleet) -> None:
    if fleet.policy.split_sites:
        message = "split_sites is yes, and --trade-off needs split_sites no."
        hint = "Plan without the trade-off, or change the policy for it."
        raise InputError((Finding("error", "trade_off_policy", "Policy", message, hint),))
