"""What is known of every later aim once a plan is made: what it reached, and a bound."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.solution.aims import aim_of
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seating

_CLOSE = 1e-3


@dataclass(frozen=True, slots=True)
class Attained:
    """What became of one later aim: ``value`` reached, and a ``bound``.

    No plan of as many hosts that is as good on the aims before can beat the bound. Moves are sites whose host is
    another than today, latency is total RTT in ms, margin is the smallest in ms, spread is the clusters on the fullest
    host.
    """

    aim: TieBreak
    value: float
    bound: float
    close: float = 1e-3

    @property
    def proven(self) -> bool:
        """Whether value and bound meet, within ``close``; round trips are counted in steps of a microsecond."""
        last_digits = 1e-9 * abs(self.bound)
        return abs(self.value - self.bound) <= self.close + last_digits


def attained_aims(
    case: Case, placement: Placement, seating: Seating, bounds: Mapping[TieBreak, float], *, by_pools: bool = False
) -> tuple[Attained, ...]:
    """Return what became of each aim among equals, with the sharper of its plain bound and that in ``bounds``.

    ``by_pools``: these are of plans that send no more sites to another pool. Where more sites move between hosts than
    have to, plans as good may send more to another pool, and the bounds of later aims are those of plans that move
    anybody.
    """
    attained: list[Attained] = []
    nobody_moves = bool(case.in_force.nowhere.all())
    for name in case.tie_breaks:
        aim = aim_of(name)
        if (nobody_moves and name == "moves") or not aim.defined(placement):
            continue
        moves = [one for one in attained if one.aim == "moves"]
        settled = not by_pools or all(one.proven for one in moves)
        bound = aim.bound(case, placement, seating, bounds.get(name) if settled else None)
        steps = [cost.step for cost in case.problem.own_costs if cost.code == name]
        close = min([_CLOSE, *(step / 2 for step in steps)])
        told = aim.told(case, placement, seating)
        attained.append(Attained(name, told, bound, close))
    return tuple(attained)
