"""What is known of every later aim once a plan is made: what it reached, and a bound."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Floats
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.instance.incumbent import InForce
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.placement import PairCost, Placement
from planner.sizing.solution.seating import Seating

PAIR_AIMS: tuple[TieBreak, ...] = ("moves", "latency")  # aims that are sums over pairs
_DUST = 1e-6  # of sums of shares
_LARGER = ("margin",)  # aims whose value is to be large


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

    @property
    def proven(self) -> bool:
        """Whether value and bound meet; costs are counted in steps of a microsecond."""
        return abs(self.value - self.bound) <= 1e-3 + 1e-9 * abs(self.bound)


def attained_aims(
    case: Case, placement: Placement, seating: Seating, bounds: Mapping[TieBreak, float]
) -> tuple[Attained, ...]:
    """Return what became of each aim among equals, with the sharper of its plain bound and that in ``bounds``.

    Moves are no aim where nobody can stay. Plans are made of pools, and whoever leaves a pool moves, so that the bound
    on moves is one on these; where more sites move, the bounds of later aims are those of plans that move anybody.
    A plan in which nobody uses a shared host has no margin.
    """
    attained: list[Attained] = []
    problem, today, incumbent = case.problem, case.in_force, case.incumbent
    for aim in case.tie_breaks:
        if (aim == "moves" and not incumbent.any()) or (aim == "margin" and not len(placement.pair)):
            continue
        value = reached(problem, placement, seating, incumbent, aim)
        plain = _plain_bound(problem, placement, seating, incumbent, aim)
        known = plain if any(one.aim == "moves" and not one.proven for one in attained) else bounds.get(aim, plain)
        if aim in _LARGER:
            attained.append(Attained(aim, value, max(value, min(plain, known))))
        elif aim == "moves":
            first = int(today.nowhere[problem.site[placement.pair]].sum())
            moved = float(today.moved(seating.seats, placement.own))
            least = max(plain, known) - first
            if placement.unserved.any():  # whoever is served in their stead may have no host today
                least = _nearest_of_some(problem, _off_today(problem, today), placement.unserved)
            attained.append(Attained(aim, moved, min(moved, max(0.0, float(np.ceil(least - _DUST))) + today.gone)))
        else:
            attained.append(Attained(aim, value, max(0.0, min(value, max(plain, known)))))
    return tuple(attained)


def _off_today(problem: Problem, today: InForce) -> Floats:
    """Return 1 on the pairs (E,) that take a site off the host that it has today, else 0."""
    off: Bools = ~today.incumbent & ~today.nowhere[problem.site]
    return off.astype(np.float64)


def reached(problem: Problem, placement: Placement, seating: Seating, incumbent: Bools, aim: TieBreak) -> float:
    """Return what a plan makes of ``aim``, of moves those between pools; 0 for the load if it serves nobody."""
    if aim in PAIR_AIMS:
        (cost,) = aim_costs(problem, incumbent, [aim])
        return float(cost.values[placement.pair].sum())
    if aim == "margin":
        return float(problem.margin_ms[placement.pair].min())
    loads: dict[str, int] = {}
    for seat in seating.seats:
        loads[seat.host] = loads.get(seat.host, 0) + seat.clusters
    return float(max(loads.values(), default=0))


def aim_costs(problem: Problem, incumbent: Bools, aims: Sequence[TieBreak]) -> list[PairCost]:
    """Return what each of ``aims``, moves and latency, counts on every eligible pair; moves count as one each."""
    costs: dict[TieBreak, PairCost] = {
        "moves": PairCost((~incumbent).astype(np.float64), 1.0),
        "latency": PairCost(problem.rtt_ms, 1e-3),
    }
    return [costs[aim] for aim in aims]


def nearest(problem: Problem, cost: Floats) -> float:
    """Return the total ``cost`` (E,) if every site that uses a pool in any plan had its best one to itself."""
    least = np.full(problem.sites, np.inf)
    np.minimum.at(least, problem.site, cost)
    return float(least[np.isfinite(least) & ~np.isfinite(problem.own_cost)].sum())


def widest_margin(problem: Problem) -> float:
    """Return the smallest margin if every site had the pool of its largest margin to itself; inf for no sites."""
    best = np.full(problem.sites, -np.inf)
    np.maximum.at(best, problem.site, problem.margin_ms)
    return float(best[np.isfinite(best)].min(initial=np.inf))


def _plain_bound(problem: Problem, placement: Placement, seating: Seating, incumbent: Bools, aim: TieBreak) -> float:
    """Return a bound of a fleet in which nobody is in another's way; who is left out may be others elsewhere."""
    everybody = not placement.unserved.any() and not placement.own.any()
    if aim == "margin":
        return widest_margin(problem) if everybody else float(problem.margin_ms.max(initial=0.0))
    if aim == "spread" and not everybody:
        return 0.0
    if aim == "spread":
        hosts = sum(len(names) for names in seating.names.values())
        return float(max(-(-int(problem.clusters.sum()) // max(1, hosts)), problem.items.max(initial=0)))
    (cost,) = aim_costs(problem, incumbent, [aim])
    if placement.unserved.any():
        return _nearest_of_some(problem, cost.values, placement.unserved)
    return nearest(problem, cost.values)


def _nearest_of_some(problem: Problem, cost: Floats, unserved: Bools) -> float:
    """Return the least of `nearest` over all sites that together weigh as much as those not ``unserved`` (S,).

    A knapsack of which a part of a site may be taken, the cheapest for its weight first (G. B. Dantzig, Operations
    Research 5 (1957) 266-288): no plan that serves as much weight costs less, whoever is left out.
    """
    least = np.full(problem.sites, np.inf)
    np.minimum.at(least, problem.site, cost)
    least[np.isfinite(problem.own_cost)] = 0.0
    order = np.argsort(least / problem.weights, kind="stable")
    weight = problem.weights[order].astype(np.float64)
    wanted = float(problem.weights[~unserved].sum())
    before = np.cumsum(weight) - weight
    share = np.clip((wanted - before) / weight, 0.0, 1.0)
    taken = share > 0
    return float((least[order][taken] * share[taken]).sum())
