"""The multi-period model over host counts, and the cuts that make it exact.

    n_pt whole, 0..M_pt          hosts at pool p in period t; n_p0 are the existing ones
    b_pt, v_pt, o_pt >= 0        bought for p, moved there from another pool, taken out, all at the start of t
    n_pt = n_p,t-1 + b_pt + v_pt - o_pt
    o_pt <= n_p,t-1                            only hosts that stood there are taken out
    sum_{p in k} v_pt <= sum_{p in k} o_pt     hosts move only between pools of one kind k: equal cap and release
    o_pt <= M_p,t-1 z_pt,  n_pt >= M_pt z_pt   unless hosts may move: hosts go only where fewer fit than before
    sum_p room_p n_pt >= demand                every cut (Hall's condition) of period t, as in `cutting_planes`

Cuts are found by the same loop: flows say which condition the counts of a period lack. Where kept-together sites do
not pack into counts that all flows accept, no smaller counts will do either, so one pool must have more:
    n_pt >= (m_p + 1) y_p for each pool p,   sum_p y_p >= 1.
Aims in order: fewest hosts bought (unless money is the objective), then the least value today of what is paid, or
hosts bought as late as possible where there are no prices, then counts near where sites are today.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.fleet import Floats, Ints
from planner.scenarios.horizon.demand import Demand, with_hosts
from planner.sizing import (
    Answer,
    CutLoop,
    LearnedCuts,
    ModelBuilder,
    SolveBudget,
    Terms,
    add_distance,
    inequalities,
    reference_counts,
    round_counts,
    size,
    solve_arrays,
)

_KINDS = 4  # n, b, v, o
_CLOSE = 1e-6


@dataclass(frozen=True)
class Prices:
    """Value today of each unit, shape (T, P): buying a host, moving one in, and running one for the period."""

    buy: Floats
    move: Floats
    run: Floats


@dataclass(frozen=True)
class Counts:
    """Hosts (T, P) with purchases, moves and retirements, and what is known of their aims."""

    hosts: Ints
    bought: Ints
    moved_in: Ints
    retired: Ints
    total: int
    total_bound: int
    worth: float
    worth_bound: float


class HorizonModel:
    """The model of some demands, kept so that cuts can be added between solves."""

    def __init__(self, demands: list[Demand], existing: Ints, kinds: Ints, *, move_hosts: bool) -> None:
        self.demands, self.existing, self.kinds, self.move_hosts = demands, existing, kinds, move_hosts
        self.periods, self.pools = len(demands), len(existing)
        self.most = np.array([d.problem.max_hosts for d in demands])
        self.learned = [LearnedCuts(d.conditions, d.cuts) for d in demands]
        self.too_few: list[tuple[int, Ints]] = []
        self.settled: list[tuple[Floats, float]] = []

    def _column(self, kind: int, t: int, p: int) -> int:
        return (kind * self.periods + t) * self.pools + p

    def _columns(self, kind: int, t: int) -> Ints:
        """Return the columns of a kind in a period, one for each pool."""
        return self._column(kind, t, 0) + np.arange(self.pools)

    @property
    def main(self) -> int:
        """Columns of n, b, v and o."""
        return _KINDS * self.periods * self.pools

    def cost(self, buy: Floats, move: Floats, run: Floats) -> Floats:
        """Return the objective row of prices (T, P)."""
        return np.concatenate((run.ravel(), buy.ravel(), move.ravel(), np.zeros(self.periods * self.pools)))

    def _shrinks(self) -> list[tuple[int, int]]:
        before = np.vstack((np.maximum(self.existing, self.most[0])[None], self.most[:-1]))
        before[0] = np.maximum(before[0], self.existing)
        return [] if self.move_hosts else [(int(t), int(p)) for t, p in np.argwhere(self.most < before)]

    def solve(self, cost: Floats, near: Floats | None, budget: SolveBudget) -> Answer:
        """Minimise ``cost`` (main columns) under all rows so far; ``near`` (T, P) is kept close to instead if given."""
        shrinks, model = self._shrinks(), ModelBuilder()
        counts = self.periods * self.pools
        main = model.block(self.main, cost, self._limits(shrinks), np.arange(self.main) < counts)
        switches = model.block(len(shrinks), upper=1.0, whole=True)
        self._balance(model, shrinks, switches)
        self._cut_rows(model)
        for short in self.too_few:
            self._more_rows(model, *short)
        for settled, value in self.settled:
            counted = np.flatnonzero(settled)
            model.row([(counted, settled[counted])], -np.inf, value)
        if near is not None:
            add_distance(model, main[:counts], near.ravel(), 1.0)
        return solve_arrays(model.program(), budget)

    def _limits(self, shrinks: list[tuple[int, int]]) -> Floats:
        """Return the upper limits of n, b, v and o."""
        most = self.most.astype(np.float64)
        out = np.full_like(most, np.inf if self.move_hosts else 0.0)
        for t, p in shrinks:
            out[t, p] = np.inf
        move = np.full_like(most, np.inf if self.move_hosts else 0.0)
        return np.concatenate((most.ravel(), np.full(most.size, np.inf), move.ravel(), out.ravel()))

    def _balance(self, model: ModelBuilder, shrinks: list[tuple[int, int]], switches: Ints) -> None:
        """Add what ties the hosts of a period to those of the one before; ``switches`` are the columns z."""
        pools = np.arange(self.pools)
        for t in range(self.periods):
            n, bought, moved, out = (self._columns(kind, t) for kind in range(_KINDS))
            terms: list[Terms] = [(pools, n, 1.0), (pools, bought, -1.0), (pools, moved, -1.0), (pools, out, 1.0)]
            if t:
                terms.append((pools, self._columns(0, t - 1), -1.0))
            before = np.zeros(self.pools) if t else self.existing.astype(np.float64)
            model.add(terms, self.pools, before, before)
            if self.move_hosts:
                model.add(terms[:3], self.pools, 0.0, np.inf)
                for kind in np.unique(self.kinds[t]):
                    alike = self.kinds[t] == kind
                    model.row([(out[alike], 1.0), (moved[alike], -1.0)], 0.0, np.inf)
        for (t, p), z in zip(shrinks, switches.tolist(), strict=True):
            most_before = float(max(self.existing[p], self.most[t - 1, p] if t else 0))
            switched = np.array([z, self._column(3, t, p)])
            model.row([(switched, np.array([most_before, -1.0]))], 0.0, np.inf)
            switched = np.array([z, self._column(0, t, p)])
            model.row([(switched, np.array([-float(self.most[t, p]), 1.0]))], 0.0, np.inf)

    def _cut_rows(self, model: ModelBuilder) -> None:
        for t, learned in enumerate(self.learned):
            for row in (row for cut in learned.cuts for row in inequalities(cut)):
                inside = np.flatnonzero(row.room)
                hosts = self._columns(0, t)[inside]
                model.row([(hosts, row.room[inside].astype(np.float64))], float(row.demand), np.inf)

    def _more_rows(self, model: ModelBuilder, t: int, hosts: Ints) -> None:
        """Ask for a host more than ``hosts`` (P,) in some pool."""
        pools, picks = np.arange(self.pools), model.block(self.pools, upper=1.0, whole=True)
        more = -(hosts + 1).astype(np.float64)
        model.add([(pools, self._columns(0, t), 1.0), (pools, picks, more)], self.pools, 0.0, np.inf)
        model.row([(picks, 1.0)], 1.0, np.inf)

    def learn(self, hosts: Ints, budget: SolveBudget) -> bool:
        """Add what ``hosts`` (T, P) lack; say whether they lack anything."""
        flows = [learned.short_flows(hosts[t]) for t, learned in enumerate(self.learned)]
        if any(flows):
            for t, short in enumerate(flows):
                self.learned[t].learn(hosts[t], short)
            return True
        packed = [carries(demand, hosts[t], budget) for t, demand in enumerate(self.demands)]
        self.too_few += [(t, hosts[t]) for t, done in enumerate(packed) if not done]
        return not all(packed)


def carries(demand: Demand, hosts: Ints, budget: SolveBudget) -> bool:
    """Say whether ``hosts`` (P,) take every site of the period, kept-together ones packed."""
    problem, classes = demand.problem, demand.classes
    if not classes.multi_cluster.any() or round_counts(problem, classes, hosts) is not None:
        return all(condition.flow(hosts).missing == 0 for condition in demand.conditions)
    return not size(with_hosts(problem, hosts), budget).counts.unserved.any()


def decide(model: HorizonModel, prices: Prices, budget: SolveBudget, *, money_first: bool) -> Counts:
    """Return the best counts, and the best found when time ends."""
    shape = (model.periods, model.pools)
    ones, none = np.ones(shape), np.zeros(shape)
    purchases = model.cost(ones, none, none)
    money = model.cost(prices.buy, prices.move, prices.run)
    best = _one_by_one(model)
    bounds = {}
    for name, cost in (("worth", money),) if money_first else (("total", purchases), ("worth", money)):
        search = _Minimum(model, cost, best)
        search.run(budget)
        best, bounds[name] = search.best, search.bound
        value = float(cost @ best)
        model.settled.append((cost, value + (0.5 if name == "total" else _CLOSE * max(1.0, abs(value)))))
    near = np.array([reference_counts(d.problem, d.incumbent) for d in model.demands])
    search = _Minimum(model, np.zeros(model.main), best, near)
    search.run(budget)
    parts = np.rint(search.best).astype(np.int64).reshape(_KINDS, *shape)
    total = int(parts[1].sum())
    worth = float(money @ search.best)
    return Counts(
        parts[0],
        parts[1],
        parts[2],
        parts[3],
        total,
        min(total, int(np.ceil(bounds["total"] - _CLOSE))) if "total" in bounds else 0,
        worth,
        min(worth, bounds["worth"]),
    )


class _Minimum(CutLoop[Answer]):
    """The main columns of least ``cost``, or near to some counts (T, P), as the cuts that they lack are learned."""

    def __init__(self, model: HorizonModel, cost: Floats, best: Floats, near: Floats | None = None) -> None:
        self.model, self.cost, self.best, self.near = model, cost, best, near

    @property
    def closed(self) -> bool:
        """What is best is known only when nothing lacks."""
        return False

    def propose(self, budget: SolveBudget) -> tuple[Answer | None, float]:
        """Return the answer of the model with the cuts so far."""
        answer = self.model.solve(self.cost, self.near, budget)
        return answer if answer.outcome.has_solution else None, answer.outcome.bound

    def examine(self, proposal: Answer, budget: SolveBudget) -> bool:
        """Learn what the counts lack, or keep them if they are no worse."""
        model = self.model
        found = np.rint(proposal.x[: model.main])
        hosts = found[: model.periods * model.pools].reshape(model.periods, model.pools).astype(np.int64)
        if model.learn(hosts, budget):
            return True
        if self.near is not None or float(self.cost @ found) <= float(self.cost @ self.best) + _CLOSE:
            self.best = found
        return proposal.outcome.state != "optimal"


def _one_by_one(model: HorizonModel) -> Floats:
    """Return a plan without a solver: each period keeps the hosts of the one before and adds what its own plan has."""
    parts = np.zeros((_KINDS, model.periods, model.pools))
    before = model.existing
    for t, demand in enumerate(model.demands):
        now = np.minimum(np.maximum(before, demand.own_hosts), model.most[t])
        parts[0, t], parts[1, t], parts[3, t] = now, np.maximum(0, now - before), np.maximum(0, before - now)
        before = now
    return parts.ravel()
