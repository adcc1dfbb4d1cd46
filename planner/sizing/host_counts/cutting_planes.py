"""Fewest hosts by cuts: a model over host counts alone, and flows that say which inequality it lacks.

Each round asks the model over counts for the cheapest that meet the cuts found so far, see `host_counts.cut_master`.
The flows of every condition then either carry everybody, which ends the search, or give the next cuts. Since the model
is a relaxation, its value is a lower bound at every round. A repair step moves single hosts to where demand is stuck,
and keeps plans as upper bounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.sizing.host_counts.cut_master import CutMaster
from planner.sizing.host_counts.hall_conditions import Cut, Flow, HallCondition, hall_conditions
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget

_CLOSED = 1e-7  # relative; the solver's own tolerance on its bound
_LARGEST, _CONFINED = 20, 300  # cuts before the first round: of the largest classes, and of those with few pools
_PATIENT = 2  # rounds before hosts are added just to have a plan: most searches close soon after
_IDLE = 4  # rounds in which rounding did not raise the bound before branch and bound is asked
_SHORT_FLOWS = 6  # looked at in a round; with cover there is one for each loss
_SINGLE_CLASS_CUTS = 40  # a round; more slow the model down, fewer cost rounds (no difference seen from 20 to 80)


@dataclass
class CutSearch:
    """State of one search. ``best`` meets every condition; ``bound`` is on `value`.

    `value` is hosts, money, or for new hosts a sum in which one more new host outweighs all hosts that run.
    """

    problem: Problem
    master: CutMaster
    conditions: list[HallCondition]  # the one that was short last comes first
    cuts: list[Cut] = field(default_factory=list)
    known: set[tuple[int, bytes, bytes]] = field(default_factory=set)  # what tells cuts apart
    best: Ints | None = None
    bound: float = 0.0
    rounds: int = 0

    def value(self, hosts: Ints) -> float:
        """Return the objective of ``hosts``."""
        return self.master.value(hosts)

    def add(self, cut: Cut) -> None:
        """Take in a cut that is not there yet."""
        key = (cut.condition, cut.classes.tobytes(), cut.room.tobytes())
        if key not in self.known:
            self.known.add(key)
            self.cuts.append(cut)
            self.master.add(cut)

    @property
    def objective_bound(self) -> float:
        """The bound in the unit of the policy's objective: hosts, new hosts or money."""
        extra = self.master.extra
        return float(np.floor(self.bound / extra + 1e-9)) if extra else self.bound

    @property
    def closed(self) -> bool:
        """Whether the best counts meet the bound."""
        return self.best is not None and self.value(self.best) <= self.bound + _CLOSED * max(1.0, self.bound)


def search_counts(
    problem: Problem,
    classes: Classes,
    budget: SolveBudget,
    reference: Floats | None = None,
    more: Sequence[HallCondition] = (),
) -> CutSearch:
    """Return the search after it closed, ran out of time, or found that no counts meet the conditions (``best`` None).

    ``reference`` (P,) is what counts are kept close to, see `reference_counts`; even sharing if None. ``more`` are
    conditions on top of those of `hall_conditions`. Needs the
    objective to depend on host counts alone, and every class to be served.
    """
    if reference is None:
        reference = reference_counts(problem, np.zeros(len(problem.pool), dtype=np.bool_))
    search = CutSearch(
        problem, CutMaster(problem, *_prices(problem), reference), [*hall_conditions(problem, classes), *more]
    )
    for condition in search.conditions:
        for cut in condition.first_cuts():
            search.add(cut)
        largest = condition.short_classes(np.zeros(problem.pools, dtype=np.int64), _LARGEST)
        for cut in (*condition.confined_classes(_CONFINED), *largest):
            search.add(cut)
    exact, idle = False, 0
    while not search.closed and not budget.spent:
        known = None if search.best is None else search.value(search.best)
        hosts, bound = search.master.solve(budget, exact=exact, below=known)
        raised = bound > search.bound
        search.bound = max(search.bound, bound)
        if hosts is None:
            break
        # Counts that cost no more than the bound are the best that the cuts allow: branch and bound has nothing to say.
        settled = exact or raised or search.value(hosts) <= search.bound * (1 + _CLOSED)
        idle = 0 if settled else idle + 1
        search.rounds += 1
        budget.tell(problem.objective, known, search.bound)
        flows = _short_flows(search, hosts)
        if not flows:
            _keep(search, hosts)
            exact = True
            continue
        before = len(search.cuts)
        _learn(search, hosts, flows)
        _repair(search, hosts, flows, budget)
        min_cut = len(search.cuts) == before
        if min_cut and exact:
            break  # a condition that no cut says, see `cover.loss_conditions`
        exact = min_cut or idle >= _IDLE
    return search


def _prices(problem: Problem) -> tuple[Floats, float]:
    if problem.objective == "cost":
        return problem.host_cost.astype(np.float64), 0.0
    return np.ones(problem.pools), float(problem.max_hosts.sum() + 1) if problem.objective == "new_hosts" else 0.0


def reference_counts(problem: Problem, incumbent: Bools) -> Floats:
    """Return hosts of each pool (P,), not whole, when sites stay where they are today or else share out evenly.

    ``incumbent`` (E,) marks the pairs that keep a site where it is.
    """
    keeps = np.bincount(problem.site, weights=incumbent, minlength=problem.sites) > 0
    chosen = np.where(keeps[problem.site], incumbent, True).astype(np.float64)
    choices = np.maximum(1.0, np.bincount(problem.site, weights=chosen, minlength=problem.sites))
    share = chosen * (problem.clusters / choices)[problem.site]
    load = np.bincount(problem.pool, weights=share, minlength=problem.pools)
    return np.minimum(load / np.maximum(1, problem.caps), problem.max_hosts)


def _short_flows(search: CutSearch, hosts: Ints) -> list[Flow]:
    """Return flows that do not carry everybody, a few are enough; none if every condition is met."""
    short: list[Flow] = []
    for condition in search.conditions:
        flow = condition.flow(hosts)
        if flow.missing > 0:
            short.append(flow)
        if len(short) == _SHORT_FLOWS:
            break
    first = [flow.condition for flow in short]
    search.conditions = first + [
        condition for condition in search.conditions if not any(condition is other for other in first)
    ]
    return short


def _learn(search: CutSearch, hosts: Ints, flows: list[Flow]) -> None:
    """Add every new cut that ``hosts`` fails."""
    for flow in flows:
        for cut in (*flow.cuts(), *flow.condition.short_classes(hosts, _SINGLE_CLASS_CUTS)):
            if cut.shortfall(hosts) > 0:
                search.add(cut)


def _keep(search: CutSearch, hosts: Ints) -> None:
    if search.best is None or search.value(hosts) < search.value(search.best):
        search.best = hosts


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
        after = _short_flows(search, trial) if trial is not None else []
        if trial is None or (after and _missing(after) >= missing):
            break
        hosts, flows, missing = trial, after, _missing(after)
        if flows:
            _learn(search, hosts, flows)
    if search.best is None and search.rounds > _PATIENT:
        hosts = _grow(search, hosts, flows, budget)
        flows = _short_flows(search, hosts)
    if not flows:
        _keep(search, hosts)


def _missing(flows: list[Flow]) -> int:
    return sum(flow.missing for flow in flows)


def _shift(search: CutSearch, hosts: Ints, flow: Flow) -> Ints | None:
    """Return ``hosts`` with one host moved from the pool with most spare room to one that demand is stuck at."""
    min_cut = flow.min_cut
    spare = np.where(min_cut | (hosts == 0), -1, flow.spare)
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
    want = np.where(min_cut & search.problem.may_grow(hosts), search.master.reference - hosts, -np.inf)
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
        flows = _short_flows(search, hosts)
    return hosts
