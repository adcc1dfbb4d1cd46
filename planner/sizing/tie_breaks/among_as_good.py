"""Fewer moves, and bounds on later aims, where plans as good are not all of as many hosts that serve every site.

Shortage, own tie-breakers, new hosts and money let plans of equal value differ in their hosts and in whom they serve.
The two models over all counts, `stay_program` and `branch_and_bound`, then know what such plans keep.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

import numpy as np

from planner.arrays import as_floats
from planner.fleet import Bools, Floats
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.instance.classes import Classes, group
from planner.sizing.instance.problem import Problem
from planner.sizing.packing.pools import unpacked
from planner.sizing.packing.seat_sites import seat_all
from planner.sizing.solution.aims import Aim, Bottleneck, Moves, PairAim, aim_of
from planner.sizing.solution.counts import Counts
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import evaluator_of
from planner.sizing.solution.placement import PairCost
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.as_good import AsGood, as_good_as
from planner.sizing.tie_breaks.branch_and_bound import EpsilonConstraint, LocationModel, strong_bound
from planner.sizing.tie_breaks.lexicographic import place
from planner.sizing.tie_breaks.moves_over_counts import most_staying

_TREE_WORK = 15_000_000  # pairs times steps of the simplex method
_CLOSE = 1e-6


@dataclass
class AmongAsGood:
    """The best ``draft`` so far, and ``bounds`` on later aims of all plans as good."""

    case: Case
    draft: Draft
    budget: SolveBudget
    bounds: dict[TieBreak, float] = field(default_factory=dict)

    def settle(self) -> tuple[Draft, dict[TieBreak, float]]:
        """Return the best draft, and bounds on its later aims, in their order."""
        aims = map(aim_of, self.case.tie_breaks)
        applied = [aim for aim in aims if aim.applies(self.case.incumbent)]
        if applied and isinstance(applied[0], Moves):
            self._stay()
        placement = self.draft.placement
        problem = self.case.problem
        level = _Level(problem, self._as_good(), self.budget)
        for aim in applied:
            if self.budget.spent or not aim.defined(placement):
                break
            costs = self._costs(aim)
            told = self._told(aim)
            if aim.name not in self.bounds:
                self.bounds[aim.name] = level.bound(aim, costs, told)
            level.keep(aim, costs, told)
        return self.draft, self.bounds

    def _as_good(self) -> AsGood:
        cuts = self.draft.sized.cuts or ()
        return dataclasses.replace(as_good_as(self.case, self.draft), cuts=cuts)

    def _told(self, aim: Aim) -> float:
        """Return what the draft makes of ``aim``; of moves those that a plan can do without."""
        draft = self.draft
        told = aim.told(self.case, draft.placement, draft.in_use)
        if isinstance(aim, Moves):
            return told - self.case.in_force.gone
        return told

    def _costs(self, aim: Aim) -> tuple[PairCost, Floats | None] | None:
        """Return what a sum over pairs counts: of pairs, and of own tie-breakers (S,); None for another aim."""
        problem, today = self.case.problem, self.case.in_force
        if isinstance(aim, Moves):
            return PairCost(as_floats(today.leaves), 1.0), as_floats(~today.nowhere)
        if isinstance(aim, PairAim):
            return (aim.cost(problem, today.incumbent), None)
        return None

    def _stay(self) -> None:
        """Bound moves, which come first, and take the plan with as few where one is found."""
        as_good = self._as_good()
        classes = self._classes(as_good)
        found = most_staying(self.case, classes, as_good, self.budget)
        if found is None:
            return
        self.bounds["moves"] = found.moves
        if found.counts is not None and found.moves <= self._told(aim_of("moves")) - 1:
            self._offer(classes, found.counts, found.keeps)

    def _classes(self, as_good: AsGood) -> Classes:
        """Return classes for the model of who stays; where weight is left out, by who has a host today."""
        problem = self.case.problem
        classes = self.draft.sized.classes
        if not as_good.weight:
            return classes
        nowhere = self.case.in_force.nowhere.astype(np.int64)
        apart = group(problem, by_weight=True, apart=nowhere)
        return dataclasses.replace(apart, fixed=apart.multi_cluster | (not problem.flows))

    def _offer(self, classes: Classes, counts: Counts, keeps: Bools) -> None:
        """Take the plan with these counts if it is better by all aims; ``keeps`` (E,) as in `place`."""
        problem = self.case.problem
        if unpacked(problem, classes, counts.hosts, counts.flow, self.budget):
            return
        sized = dataclasses.replace(self.draft.sized, classes=classes, counts=counts)
        placement = place(problem, sized, keeps, self.case.tie_breaks)
        if placement is None:
            return
        seating = seat_all(self.case, counts.hosts, placement, self.budget)
        no_standbys = (None,) * len(seating.seats)
        trial = Draft(sized, placement, seating, no_standbys)
        judge = evaluator_of(self.case, cover=False)
        if judge(trial) < judge(self.draft):
            self.draft = trial


class _Level:
    """Bounds on one aim after the other, of plans ``as_good`` that keep the aims before."""

    def __init__(self, problem: Problem, as_good: AsGood, budget: SolveBudget) -> None:
        self.problem = problem
        self.as_good = as_good
        self.budget = budget
        self.before: list[EpsilonConstraint] = []

    def keep(self, aim: Aim, costs: tuple[PairCost, Floats | None] | None, value: float) -> None:
        """Let what follows be no worse than ``value`` by ``aim``."""
        if costs is not None:
            cost, own = costs
            self.before.append(EpsilonConstraint(cost, value, own))
        elif aim.larger:
            worse = self._below(value - _CLOSE)
            self.before.append(EpsilonConstraint(worse, 0.0))
        elif isinstance(aim, Bottleneck):
            _, caps = aim.within(self.problem, value)
            self.problem = dataclasses.replace(self.problem, caps=caps)

    def bound(self, aim: Aim, costs: tuple[PairCost, Floats | None] | None, value: float) -> float:
        """Return a bound on ``aim``, of which ``value`` is reached."""
        if costs is not None:
            return self._least(self.problem, *costs, value)
        assert isinstance(aim, Bottleneck)
        return self._margin(value) if aim.larger else self._load(aim, value)

    def _below(self, margin_ms: float) -> PairCost:
        return PairCost(as_floats(self.problem.margin_ms < margin_ms), 1.0)

    def _margin(self, reached: float) -> float:
        """Return the largest margin at which the relaxation has a plan."""
        levels = np.unique(self.problem.margin_ms)
        low = int(np.searchsorted(levels, reached - _CLOSE))
        high = len(levels) - 1
        while low < high:
            middle = (low + high + 1) // 2
            worse = self._below(float(levels[middle]))
            if self._least(self.problem, worse, None, 1.0) > _CLOSE:
                high = middle - 1
            else:
                low = middle
        return float(levels[low])

    def _load(self, aim: Bottleneck, reached: float) -> float:
        """Return the smallest largest load at which the relaxation has a plan."""
        low, high = 1, int(reached)
        nothing = PairCost(np.zeros(len(self.problem.pool)), 1.0)
        while low < high:
            middle = (low + high) // 2
            _, caps = aim.within(self.problem, middle)
            narrower = dataclasses.replace(self.problem, caps=caps)
            if self._least(narrower, nothing, None, 1.0) > _CLOSE:
                low = middle + 1
            else:
                high = middle
        return float(low)

    def _least(self, problem: Problem, cost: PairCost, own: Floats | None, reached: float) -> float:
        """Return a bound on a sum over pairs, and over own tie-breakers; 0 where the fleet is too large."""
        hosts = self.as_good.hosts
        model = LocationModel(problem, cost, hosts, self.before, self.as_good, own)
        return strong_bound(model, lambda _hosts, _shares: reached, _TREE_WORK, self.budget)
