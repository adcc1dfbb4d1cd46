"""Moves against hosts: how many moves a further host saves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.plan import Plan
from planner.sizing.from_today.by_host import by_host
from planner.sizing.from_today.move_model import MoveModel
from planner.sizing.solvers.budget import SolveBudget


@dataclass(frozen=True, slots=True)
class Point:
    """With at most ``hosts`` hosts ``moves`` sites change host, and no plan of as many changes fewer than ``bound``.

    ``moves`` is None where no plan was found in time.
    """

    hosts: int
    moves: int | None
    bound: int

    @property
    def proven(self) -> bool:
        """Whether moves and bound meet."""
        return self.moves is not None and self.moves <= self.bound


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

    A move is a site whose host is another than that of Current; who is attached first is none. Every point is a
    mixed-integer model of its own, of plans that serve as much weight as ``plan`` does. ``time_limit`` is in seconds
    for all of them together.

    Raises InputError where the policy asks for cover or splits sites, which this model does not know.
    """
    _refuse(fleet)
    split = by_host(fleet)
    model = MoveModel(split, plan)
    budget = SolveBudget(seconds=time_limit, seed=seed)
    points: list[Point] = []
    with budget.listening():
        tell("the fewest moves with any number of hosts")
        end = model.solve(int(model.problem.max_hosts.sum()), budget)
        for hosts in range(plan.hosts, plan.hosts + most + 1):
            tell(f"the fewest moves with {hosts} hosts")
            found = model.solve(hosts, budget)
            points.append(Point(hosts, found.moves, 0 if split.cut else max(found.bound, end.bound)))
            if budget.spent or (found.moves is not None and found.moves <= end.bound):
                break
    return tuple(points)


def _refuse(fleet: Fleet) -> None:
    policy = fleet.policy
    if policy.cover != "none" or policy.split_sites:
        what = "split_sites is yes" if policy.split_sites else f"cover is {policy.cover}"
        message = f"{what}, and --trade-off needs split_sites no and cover none."
        hint = "Plan without the trade-off, or change the policy for it."
        raise InputError((Finding("error", "trade_off_policy", "Policy", message, hint),))
