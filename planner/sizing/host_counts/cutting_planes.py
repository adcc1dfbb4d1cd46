"""Fewest hosts by cuts: a model over host counts alone, and flows that say which inequality it lacks.

Each round of `cut_loop` asks the model over counts for the cheapest that meet the cuts found so far, see `cut_master`.
The flows of every condition then either carry everybody, which ends the search, or give the next cuts. A repair step
moves single hosts to where demand is stuck, and keeps plans as upper bounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from planner.arrays import int_zeros
from planner.fleet import Floats, Ints
from planner.sizing.host_counts.condition_flows import Flow
from planner.sizing.host_counts.cut_loop import CutLoop, LearnedCuts
from planner.sizing.host_counts.cut_master import cut_master, in_unit
from planner.sizing.host_counts.hall_conditions import Cut, HallCondition, hall_conditions
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget

_CLOSED = 1e-7  # relative; the solver's own tolerance on its bound
_LARGEST, _CONFINED = 20, 300  # cuts before the first round: of the largest classes, and of those with few pools
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
            self._begin(condition)

    def _begin(self, condition: HallCondition) -> None:
        """Take in cuts that are likely to be needed, before the first round."""
        nothing = int_zeros(self.problem.pools)
        confined = condition.confined_classes(_CONFINED)
        largest = condition.short_classes(nothing, _LARGEST)
        for cut in (*condition.first_cuts(), *confined, *largest):
            self.add(cut)

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
        """Learn what counts lack and repair them, or keep them; False where a condition is short that no cut says."""
        self._idle = 0 if self._settled else self._idle + 1
        flows = self.learned.short_flows(proposal)
        if not flows:
            self.keep(proposal)
            self._exact = True
            return True
        before = len(self.cuts)
        self.learn(proposal, flows)
        if self.rounds == _PATIENT and self.problem.objective == "cost" and not self.problem.limited:
            self._learn_from_relaxation(budget)
        _repair(self, proposal, flows, budget)
        stuck = len(self.cuts) == before
        if stuck and self._exact:
            return False  # see `cover.loss_conditions`
        self._exact = stuck or self._idle >= _IDLE
        return True

    def learn(self, hosts: Ints, flows: Sequence[Flow]) -> None:
        """Add every new cut that ``hosts`` fails."""
        for cut in self.learned.learn(hosts, flows):
            self.master.add(cut)

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


def _repair(search: CutSearch, hosts: Ints, flows: list[Flow], budget: SolveBudget) -> None:
    """Move hosts one at a time to where demand is stuck; when that ends, add hosts until everybody is carried.

    Every state on the way that fails gives cuts too, so a repair that does not succeed is not lost.
    """
    hosts = hosts.copy()
    missing = _missing(flows)
    steps = 0
    while flows and not budget.spent and steps < search.problem.pools:
        steps += 1
        trial = _shift(search, hosts, flows[0])
        after = search.learned.short_flows(trial) if trial is not None else []
        if trial is None or (after and _missing(after) >= missing):
            break
        hosts, flows, missing = trial, after, _missing(after)
        if flows:
            search.learn(hosts, flows)
    if search.best is None and search.rounds > _PATIENT:
        hosts = _grow(search, hosts, flows, budget)
        flows = search.learned.short_flows(hosts)
    if not flows:
        search.keep(hosts)


def _missing(flows: list[Flow]) -> int:
    return sum(flow.missing for flow in flows)


def _shift(search: CutSearch, hosts: Ints, flow: Flow) -> Ints | None:
    """Return ``hosts`` with one host moved from the pool with most spare room to one that demand is stuck at."""
    min_cut = flow.min_cut
    idle = hosts == 0
    spare = np.where(min_cut | idle, -1, flow.spare)
    giver = int(np.argmax(spare))
    if spare[giver] < 0:
        return None
    trial = hosts.copy()
    trial[giver] -= 1
    taker = _taker(search, trial, min_cut)
    if taker is None:
        return None
    trial[taker] += 1
    return trial


def _taker(search: CutSearch, hosts: Ints, min_cut: np.ndarray) -> int | None:
    """Return the stuck pool that falls most below its share and may have another host."""
    may = min_cut & search.problem.may_grow(hosts)
    below = search.master.reference - hosts
    want = np.where(may, below, -np.inf)
    best = int(np.argmax(want))
    return best if np.isfinite(want[best]) else None


def _grow(search: CutSearch, hosts: Ints, flows: list[Flow], budget: SolveBudget) -> Ints:
    """Add hosts where demand is stuck until every condition is met or no pool may grow."""
    hosts = hosts.copy()
    while flows and not budget.spent:
        taker = _taker(search, hosts, flows[0].min_cut)
        if taker is None:
            break
        hosts[taker] += 1
        flows = search.learned.short_flows(hosts)
    return hosts
