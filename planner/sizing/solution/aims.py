"""The aims among plans of equal objective: one class each, with all that is asked of it.

`PairAim`s are sums over eligible pairs, and so costs of a flow. `Bottleneck`s are decided by the worst pair or the
fullest host: a plan reaches a level of one where it does without some pairs, or with smaller caps. A new aim is a class
here, its name in `planner.own.LATER_AIMS`, and its second reading in `planner.verify.aims`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from planner.arrays import as_floats, trues
from planner.fleet import Bools, Floats, Ints
from planner.own import PREFIX
from planner.sizing.instance.case import TIE_BREAKS, Case, TieBreak
from planner.sizing.instance.problem import OwnCost, Problem
from planner.sizing.solution.placement import PairCost, Placement
from planner.sizing.solution.seating import Seating

_DUST = 1e-6  # of sums of shares


@dataclass(frozen=True)
class Aim(ABC):
    """An aim; ``larger``: its value is to be large."""

    name: TieBreak
    larger = False

    def applies(self, incumbent: Bools) -> bool:
        """Say whether it tells plans apart; ``incumbent`` (E,) marks the pairs that keep a site where it is."""
        return True

    def defined(self, placement: Placement) -> bool:
        """Say whether a plan has a value of it."""
        return True

    @abstractmethod
    def reached(self, case: Case, placement: Placement, seating: Seating) -> float:
        """Return what a plan of pools makes of it."""

    def told(self, case: Case, placement: Placement, seating: Seating) -> float:
        """Return its value as people are told it; differs from `reached` where single hosts matter."""
        return self.reached(case, placement, seating)

    @abstractmethod
    def plain_bound(self, case: Case, placement: Placement, seating: Seating) -> float:
        """Return a bound of a fleet in which nobody is in another's way; who is left out may be others elsewhere."""

    def bound(self, case: Case, placement: Placement, seating: Seating, known: float | None) -> float:
        """Return the sharper of the plain bound and that which is ``known``, no better than what is reached."""
        plain = self.plain_bound(case, placement, seating)
        sharper = plain if known is None else max(plain, known)
        return max(0.0, min(self.told(case, placement, seating), sharper))


@dataclass(frozen=True)
class PairAim(Aim):
    """A sum over pairs: ``values`` returns what each counts (E,), of the problem and the incumbent pairs, in steps."""

    step: float
    values: Callable[[Problem, Bools], Floats]

    def cost(self, problem: Problem, incumbent: Bools) -> PairCost:
        """Return it as a cost of pairs."""
        return PairCost(self.values(problem, incumbent), self.step)

    def reached(self, case: Case, placement: Placement, seating: Seating) -> float:
        """Return the sum over the pairs that are used."""
        each = self.values(case.problem, case.incumbent)
        return float(each[placement.pair].sum())

    def plain_bound(self, case: Case, placement: Placement, seating: Seating) -> float:
        """Return the sum if everybody had the best pair to itself."""
        values = self.values(case.problem, case.incumbent)
        return _nearest(case.problem, values, placement.unserved)


@dataclass(frozen=True)
class OwnPairAim(PairAim):
    """An aim of the caller's own, whose costs and step stand in the problem."""

    def cost(self, problem: Problem, incumbent: Bools) -> PairCost:
        """Return it as a cost of pairs."""
        cost = _own_cost(problem, self.name)
        return PairCost(cost.values, cost.step)


@dataclass(frozen=True)
class Moves(PairAim):
    """Sites whose host is another than today. Plans are made of pools, and whoever leaves a pool moves."""

    def applies(self, incumbent: Bools) -> bool:
        """Say whether anybody can stay."""
        return bool(incumbent.any())

    def told(self, case: Case, placement: Placement, seating: Seating) -> float:
        """Return the moves between hosts, those of sites that need no shared host any more included."""
        covered = case.fleet.policy.cover != "none"
        idle = [name for names in seating.names.values() for name in names] if covered else ()
        return float(case.in_force.moved(seating.seats, placement.own, idle))

    def bound(self, case: Case, placement: Placement, seating: Seating, known: float | None) -> float:
        """Return a bound on moves: sites without a host today do not move, whatever pool they use."""
        problem, today = case.problem, case.in_force
        plain = _nearest(problem, as_floats(today.leaves), placement.unserved)
        least = plain if known is None else max(plain, known)
        whole = max(0.0, float(np.ceil(least - _DUST)))
        return min(self.told(case, placement, seating), whole + today.gone)


class Bottleneck(Aim):
    """An aim that the worst pair or the fullest host decides."""

    @abstractmethod
    def levels(self, problem: Problem, pairs: Ints) -> Floats:
        """Return the values that it may have where only ``pairs`` (positions) are used, from the worst on."""

    @abstractmethod
    def ideal(self, problem: Problem, hosts: int) -> float:
        """Return a value that no plan with so many ``hosts`` which serves everybody by shared hosts can beat."""

    @abstractmethod
    def within(self, problem: Problem, level: float) -> tuple[Bools, Ints]:
        """Return the pairs (E,) and the caps (P,) of plans that are at ``level`` or better."""


class Margin(Bottleneck):
    """The smallest latency margin, in ms."""

    larger = True

    def defined(self, placement: Placement) -> bool:
        """Say whether anybody uses a shared host."""
        return len(placement.pair) > 0

    def reached(self, case: Case, placement: Placement, seating: Seating) -> float:
        """Return the smallest margin of the pairs that are used."""
        return float(case.problem.margin_ms[placement.pair].min())

    def plain_bound(self, case: Case, placement: Placement, seating: Seating) -> float:
        """Return the smallest margin if every site had its best pool to itself."""
        everybody = not placement.unserved.any() and not placement.own.any()
        if everybody:
            return self.ideal(case.problem, 0)
        return float(case.problem.margin_ms.max(initial=0.0))

    def bound(self, case: Case, placement: Placement, seating: Seating, known: float | None) -> float:
        """Return the sharper of both bounds, which are from above."""
        plain = self.plain_bound(case, placement, seating)
        sharper = plain if known is None else min(plain, known)
        return max(self.told(case, placement, seating), sharper)

    def levels(self, problem: Problem, pairs: Ints) -> Floats:
        """Return the margins of the pairs, ascending."""
        return np.unique(problem.margin_ms[pairs])

    def ideal(self, problem: Problem, hosts: int) -> float:
        """Return the smallest margin if every site had the pool of its largest margin to itself; inf for no sites."""
        best = np.full(problem.sites, -np.inf)
        np.maximum.at(best, problem.site, problem.margin_ms)
        return float(best[np.isfinite(best)].min(initial=np.inf))

    def within(self, problem: Problem, level: float) -> tuple[Bools, Ints]:
        """Leave out the pairs of a smaller margin."""
        return problem.margin_ms >= level, problem.caps


class Spread(Bottleneck):
    """The clusters on the fullest host."""

    def reached(self, case: Case, placement: Placement, seating: Seating) -> float:
        """Return the largest load of a host; 0 where nobody is served."""
        return float(max(seating.loads.values(), default=0))

    def plain_bound(self, case: Case, placement: Placement, seating: Seating) -> float:
        """Return the load if all hosts carried the same."""
        if placement.unserved.any() or placement.own.any():
            return 0.0
        hosts = sum(len(names) for names in seating.names.values())
        return self.ideal(case.problem, hosts)

    def levels(self, problem: Problem, pairs: Ints) -> Floats:
        """Return the loads down from the largest cap."""
        return np.arange(int(problem.caps.max(initial=1)), 0, -1, dtype=np.float64)

    def ideal(self, problem: Problem, hosts: int) -> float:
        """Return the load if all hosts carried the same, and no less than the largest site."""
        each = -(-int(problem.clusters.sum()) // max(1, hosts))
        return float(max(each, problem.items.max(initial=0)))

    def within(self, problem: Problem, level: float) -> tuple[Bools, Ints]:
        """Lower all caps to the level."""
        every_pair = trues(len(problem.pool))
        return every_pair, np.minimum(problem.caps, int(level))


_ALL: tuple[Aim, ...] = (
    Moves("moves", 1.0, lambda _problem, incumbent: as_floats(~incumbent)),
    PairAim("latency", 1e-3, lambda problem, _incumbent: problem.rtt_ms),
    Margin("margin"),
    Spread("spread"),
)
AIMS: Mapping[str, Aim] = {aim.name: aim for aim in _ALL}


def aim_of(name: str) -> Aim:
    """Return the aim of that name; raises ValueError where there is none."""
    if name.startswith(PREFIX):
        return OwnPairAim(name, 0.0, lambda problem, _incumbent: _own_cost(problem, name).values)
    if name not in AIMS:
        raise ValueError(f"{name!r} is no aim among equals; they are {', '.join(TIE_BREAKS)}")
    return AIMS[name]


def _own_cost(problem: Problem, code: str) -> OwnCost:
    return next(cost for cost in problem.own_costs if cost.code == code)


def costs_of(problem: Problem, incumbent: Bools, names: Sequence[TieBreak]) -> list[PairCost]:
    """Return what those of the aims that are sums over pairs, and apply, count on every eligible pair, in order."""
    aims = (aim_of(name) for name in names)
    sums = [aim for aim in aims if isinstance(aim, PairAim)]
    return [aim.cost(problem, incumbent) for aim in sums if aim.applies(incumbent)]


def _nearest(problem: Problem, cost: Floats, unserved: Bools) -> float:
    """Return the total ``cost`` (E,) if every site that uses a pool in any plan had its best one to itself.

    It is the least of sites that together weigh as much as those not ``unserved`` (S,): a knapsack of which a part of
    a site may be taken, the cheapest for its weight first (G. B. Dantzig, Operations Research 5 (1957) 266-288). No
    plan that serves as much weight costs less, whoever is left out.
    """
    least = np.full(problem.sites, np.inf)
    np.minimum.at(least, problem.site, cost)
    least[problem.may_own] = 0.0
    order = np.argsort(least / problem.weights, kind="stable")
    weight = as_floats(problem.weights[order])
    wanted = float(problem.weight_of(~unserved))
    before = np.cumsum(weight) - weight
    share = np.clip((wanted - before) / weight, 0.0, 1.0)
    taken = share > 0
    paid = least[order][taken] * share[taken]
    return float(paid.sum())
