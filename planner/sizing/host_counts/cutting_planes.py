"""Fewest hosts by cuts: a model over host counts alone, and flows that say which inequality it lacks.

Each round of `cut_loop` asks the model over counts for the cheapest that meet the cuts found so far, see `cut_master`.
The flows of every condition then either carry everybody, which ends the search, or give the next cuts. Where that takes
longer, hosts are added to where demand is stuck until there is a plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from planner.fleet import Floats, Ints
from planner.sizing.host_counts.condition_flows import Flow
from planner.sizing.host_counts.cut_loop import CutLoop, LearnedCuts
from planner.sizing.host_counts.cut_master import cut_master, in_unit
from planner.sizing.host_counts.hall_conditions import Cut, HallCondition, hall_conditions
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget

_CLOSED = 1e-7  # relative; the solver's own tolerance on its bound
_CONFINED = 300  # cuts before the first round, of classes with few pools
_PATIENT = 2  # rounds before hosts are added just to have a plan: most searches close soon after
_IDLE = 4  # rounds in which rounding did not raise the bound before branch and bound is asked
_RELAXED_ROUNDS = 20
_PARTS = 10_000  # of a host, where a flow is asked about counts that are not whole
_LACKING = 1e-3  # clusters; less may be what parts leave over


class CutSearch(CutLoop[Ints]):
    """State of one search. ``best`` (P,) meets every condition; ``bound`` is on `value`.

    `value` is hosts, money, or for new hosts a sum in which one more new host outweighs all hosts that run.
    """

    def __init__(
        self, problem: Problem, classes: Classes, reference: Floats | None, more: Sequence[HallCondition]
    ) -> None:
        self.problem = problem
        self.master = cut_master(problem, reference)
        self.learned = LearnedCuts([*hall_conditions(problem, classes), *more])
        self.best: Ints | None = None
        self.rounds = 0
        self._exact = False  # whether branch and bound is asked
        self._settled = False  # whether the last counts are the best that the cuts allow
        self._idle = 0  # rounds in which the bound stayed
        for condition in self.learned.conditions:
            for cut in (*condition.first_cuts(), *condition.confined_classes(_CONFINED)):
                self.add(cut)  # likely to be needed

    def add(self, cut: Cut) -> None:
        """Take in a cut that is not there yet."""
        if self.learned.add(cut):
            self.master.add(cut)

    @property
    def cuts(self) -> list[Cut]:
        """All cuts so far."""
        return self.learned.cuts

    def value(self, hosts: Ints) -> float:
        """Return the objective of ``hosts``."""
        return self.master.value(hosts)

    @property
    def objective_bound(self) -> float:
        """The bound in the unit of the policy's objective: hosts, new hosts or money."""
        return in_unit(self.bound, self.master.extra)

    @property
    def closed(self) -> bool:
        """Whether the best counts meet the bound."""
        close = self.bound + _CLOSED * max(1.0, self.bound)
        return self.best is not None and self.value(self.best) <= close

    def propose(self, budget: SolveBudget) -> tuple[Ints | None, float]:
        """Return the cheapest counts that meet the cuts, or the relaxation rounded, and a bound."""
        known = None if self.best is None else self.value(self.best)
        hosts, bound = self.master.solve(budget, exact=self._exact, below=known)
        if hosts is not None:
            # Counts no dearer than the bound are the best that the cuts allow: branch and bound has nothing to say.
            least = max(self.bound, bound)
            raised = bound > self.bound
            cheapest = self.value(hosts) <= least * (1 + _CLOSED)
            self._settled = self._exact or raised or cheapest
            self.rounds += 1
            extra = self.master.extra
            best = None if known is None else in_unit(known, extra)
            budget.tell(self.problem.objective, best, in_unit(least, extra))
        return hosts, bound

    def examine(self, proposal: Ints, budget: SolveBudget) -> bool:
        """Learn what counts lack, or keep them; False where a condition is short that no cut says."""
        self._idle = 0 if self._settled else self._idle + 1
        flows = self.learned.short_flows(proposal)
        if not flows:
            self.keep(proposal)
            self._exact = True
            return True
        before = len(self.cuts)
        for cut in self.learned.learn(proposal, flows):
            self.master.add(cut)
        if self.rounds == _PATIENT and self.problem.objective == "cost" and not self.problem.limited:
            self._learn_from_relaxation(budget)
        if self.best is None and self.rounds > _PATIENT:
            self._grow(proposal, flows, budget)
        stuck = len(self.cuts) == before
        if stuck and self._exact:
            return False  # see `cover.loss_conditions`
        self._exact = stuck or self._idle >= _IDLE
        return True

    def _learn_from_relaxation(self, budget: SolveBudget) -> None:
        """Add cuts that the linear relaxation fails; branch and bound would take longer to ask for each."""
        parts = [replace(condition, demand=condition.demand * _PARTS) for condition in self.learned.conditions]
        for _ in range(_RELAXED_ROUNDS):
            counts = self.master.relaxed(budget)
            before = len(self.cuts)
            if counts is None or budget.spent:
                return
            hosts_in_parts = np.floor(counts * _PARTS + _CLOSED)
            hosts = hosts_in_parts.astype(np.int64)
            for condition in parts:
                for cut in condition.flow(hosts).cuts():
                    whole = replace(cut, demand=cut.demand // _PARTS)
                    if whole.demand - float(whole.room @ counts) > _LACKING:
                        self.add(whole)
            if len(self.cuts) == before:
                return

    def keep(self, hosts: Ints) -> None:
        """Take counts that meet every condition, if they are better."""
        if self.best is None or self.value(hosts) < self.value(self.best):
            self.best = hosts

    def _grow(self, hosts: Ints, flows: list[Flow], budget: SolveBudget) -> None:
        """Add hosts where demand is stuck, at the pools farthest below their share, and keep them if all is carried."""
        hosts = hosts.copy()
        while flows and not budget.spent:
            may = flows[0].min_cut & self.problem.may_grow(hosts)
            if not may.any():
                return
            below = self.master.reference - hosts
            hosts[np.argmax(np.where(may, below, -np.inf))] += 1
            flows = self.learned.short_flows(hosts)
        if not flows:
            self.keep(hosts)


def search_counts(
    problem: Problem,
    classes: Classes,
    budget: SolveBudget,
    reference: Floats | None = None,
    more: Sequence[HallCondition] = (),
    known: Sequence[Cut] = (),
) -> CutSearch:
    """Return the search after it closed, ran out of time, or found that no counts meet the conditions (``best`` None).

    ``reference`` (P,) is what counts are kept close to, see `reference_counts`; even sharing if None. ``more`` are
    conditions on top of those of `hall_conditions`, ``known`` cuts of the same classes and pools. Needs the
    objective to depend on host counts alone, and every class to be served.
    """
    search = CutSearch(problem, classes, reference, more)
    for cut in known:
        search.add(cut)
    search.run(budget)
    return search
