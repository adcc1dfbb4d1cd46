"""The model over host counts alone: which counts meet the inequalities learned so far, cheapest first.

    minimise   sum_p c_p n_p + d sum_p |n_p - r_p|
    subject to the inequalities of every cut and of limits on hosts of several pools, 0 <= n_p <= M_p whole

r is a spread of the demand over all pools, and d so small that it only chooses among equals. The linear relaxation is
a lower bound; where its solution rounds to counts that cost no more than that, they are optimal and no
branch and bound is needed. It is kept from round to round, and starts from the basis of the last.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from planner.arrays import as_floats, falses, int_zeros, rounded
from planner.fleet import Bools, Floats, Ints
from planner.sizing.host_counts.certificate import Inequality, inequalities
from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import Answer, GrowingProgram, LinearProgram, solve_arrays
from planner.sizing.solvers.matrices import Compressed, rows_of
from planner.sizing.solvers.model_builder import ModelBuilder, Term, Terms, add_distance, add_host_limits, add_new_hosts

_RELAXED_TIE = 0.1  # what all distance together may cost in the relaxation, where a host costs 1
_WHOLE_TIE = 0.5  # the same on whole counts, whose values are whole: half a unit only chooses among equals
_NEARER = 1e-6  # by less than that counts do not come nearer to the reference


def in_unit(value: float, extra: float) -> float:
    """Return a value in the unit of the objective: in hosts to add where these cost ``extra`` on top."""
    if not extra or not np.isfinite(value):
        return float(value)
    return float(np.floor(value / extra + 1e-9))


@dataclass
class CutMaster:
    """The model. ``price`` (P,): of a host that runs; ``extra``: of a host to add, on top; ``reference`` (P,): r."""

    problem: Problem
    price: Floats
    extra: float
    reference: Floats
    rows: list[Inequality] = field(default_factory=list)
    _room: Ints = field(init=False)  # (rows, P), for the rows that the relaxation knows
    _least: Ints = field(init=False)
    _relaxed: _Relaxed | None = None

    def __post_init__(self) -> None:
        self._room = int_zeros((0, self.problem.pools))
        self._least = int_zeros(0)

    def add(self, cut: Cut) -> None:
        """Take in the inequalities of a cut."""
        self.rows += inequalities(cut)

    def value(self, hosts: Ints) -> float:
        """Return the cost of ``hosts`` (P,), without distance."""
        value = float(self.price @ hosts)
        new = np.maximum(0, hosts - self.problem.existing)
        return value + self.extra * float(new.sum())

    def solve(
        self, budget: SolveBudget, *, exact: bool = True, below: float | None = None
    ) -> tuple[Ints | None, float]:
        """Return counts (P,) and a lower bound on their cost: inf when there are none, -inf when time ended.

        Unless ``exact``, the counts may be the relaxation rounded and cost more than the bound. ``below``: the cost of
        counts that are known, not to be found again; where none cost less, the bound is that.
        """
        self._gather()
        if not exact and self.problem.objective != "cost":
            solved = self._solve_relaxed(budget)
            if solved is not None:
                x, value = solved
                bound = float(np.ceil(value - _RELAXED_TIE - 1e-6))
                hosts = self._rounded(x, bound)
                if hosts is not None:
                    return self._nearer(hosts), bound
        if self.problem.objective == "cost":
            below = None  # the rest is for costs that are whole
        answer, bound = self._answer(budget, below)
        if not answer.outcome.has_solution:
            return None, bound
        hosts = rounded(answer.x[: self.problem.pools])
        return hosts if below is None else self._nearer(hosts), bound

    def relaxed(self, budget: SolveBudget) -> Floats | None:
        """Return the counts (P,) of the linear relaxation, not whole; None when it has none or time ended."""
        solved = self._solve_relaxed(budget)
        return None if solved is None else solved[0]

    def _solve_relaxed(self, budget: SolveBudget) -> tuple[Floats, float] | None:
        self._gather()
        if self._relaxed is None:
            self._relaxed = _Relaxed(self, budget.seed)
        return self._relaxed.solve(self._room, self._least, budget)

    def _gather(self) -> None:
        new = self.rows[len(self._least) :]
        if new:
            room = [row.room for row in new]
            least = [row.demand for row in new]
            self._room = np.vstack((self._room, room))
            self._least = np.concatenate((self._least, least))

    def _answer(self, budget: SolveBudget, below: float | None) -> tuple[Answer, float]:
        """Return the answer of branch and bound, and the bound in it.

        Distance chooses among equals, but where only counts ``below`` are asked for: mostly there are none, and that is
        quicker to see without.
        """
        untied = self.problem.objective == "cost" or below is not None
        tie = 0.0 if untied else _WHOLE_TIE
        answer = solve_arrays(self._program(tie, below), budget)
        outcome = answer.outcome
        if outcome.state == "infeasible":
            return answer, float("inf") if below is None else below
        if self.problem.objective == "cost" or not np.isfinite(outcome.bound):
            return answer, outcome.bound
        whole = np.ceil(outcome.bound - tie - 1e-6)
        return answer, float(whole)

    def _program(self, tie: float, below: float | None = None) -> LinearProgram:
        """Return the model as arrays; distance may cost ``tie`` in all, hosts at most ``below`` - 1."""
        model = ModelBuilder()
        problem = self.problem
        n = model.block(problem.pools, self.price, problem.max_hosts, whole=True)
        row, p = np.nonzero(self._room)
        at_row = self._room[row, p]
        room: Terms = row, n[p], at_row
        model.above([room], len(self._least), self._least)
        add_host_limits(model, problem.host_limits, n)
        hosts: list[Term] = [(n, self.price)]
        if self.extra:
            new = add_new_hosts(model, problem.existing, n, self.extra)
            hosts.append((new, self.extra))
        if tie:
            add_distance(model, n, self.reference, tie / self.farthest)
        if below is not None:
            model.at_most(hosts, below - 1.0)
        return model.program()

    @property
    def farthest(self) -> float:
        """The largest distance from the reference that counts can have, at least 1."""
        above = self.problem.max_hosts - self.reference
        farthest = np.maximum(self.reference, above).sum()
        return max(1.0, float(farthest))

    def _rounded(self, x: Floats, enough: float) -> Ints | None:
        """Return whole counts near ``x`` (P,) that meet every inequality, cheap ones, or None.

        Hosts are rounded down, then up where an inequality is short: by the largest fraction, or if that costs more
        than ``enough`` where most are. Those that turn out not to be needed go again (reverse delete).
        """
        down = np.floor(x + 1e-6).astype(np.int64)
        lack = self._least - self._room @ down
        fraction = x - down
        helped = (self._room[lack > 0] > 0).sum(axis=0)
        best = None
        for order in (np.argsort(-fraction, kind="stable"), np.lexsort((-fraction, -helped))):
            hosts = self._filled(down, lack, order)
            if hosts is not None and (best is None or self.value(hosts) < self.value(best)):
                best = hosts
            if best is not None and self.value(best) <= enough:
                break
        return best

    def _filled(self, down: Ints, lack: Ints, order: Ints) -> Ints | None:
        """Return ``down`` with single hosts more, in ``order`` of pools, until no inequality lacks anything."""
        hosts = down.copy()
        lack = lack.copy()
        room = self._room
        at = 0  # in the order; the next pool that helps comes from here on, and then from the start again
        while (short := lack > 0).any():
            wanted = (room[short] > 0).any(axis=0)
            helps = (wanted & self.problem.may_grow(hosts))[order]
            if not helps.any():
                return None
            if not helps[at:].any():
                at = 0
            at += int(np.argmax(helps[at:]))
            hosts[order[at]] += 1
            lack -= room[:, order[at]]
            at += 1
        unasked = room == 0
        spare = unasked | (room <= -lack[:, None])
        for p in order[(spare.all(axis=0) & (hosts > 0))[order]][::-1].tolist():
            if (lack + room[:, p] <= 0)[room[:, p] > 0].all():
                hosts[p] -= 1
                lack += room[:, p]
        return hosts

    def _nearer(self, hosts: Ints) -> Ints:
        """Return ``hosts`` after moves of single hosts that cost nothing, meet every inequality and end nearer to r."""
        hosts = hosts.copy()
        slack = self._room @ hosts - self._least
        for giver in np.argsort(self.reference - hosts, kind="stable").tolist():
            while hosts[giver] and hosts[giver] > self.reference[giver]:
                lacks = self._room[:, giver] - slack
                short = lacks > 0
                distance = np.abs(hosts - self.reference)
                one_more = hosts + 1 - self.reference
                nearer = distance - np.abs(one_more)
                covers = self._room[short] >= lacks[short, None]
                allowed = covers.all(axis=0) & self._may_take(giver, hosts)
                allowed &= self._same_price(giver, hosts)
                worth = np.where(allowed, nearer, -np.inf)
                taker = int(np.argmax(worth))
                one_less = hosts[giver] - 1 - self.reference[giver]
                away = abs(one_less) - distance[giver]
                if not allowed[taker] or nearer[taker] - away <= _NEARER:
                    break
                hosts[giver] -= 1
                hosts[taker] += 1
                slack += self._room[:, taker]
                slack -= self._room[:, giver]
        return hosts

    def _may_take(self, giver: int, hosts: Ints) -> Bools:
        """Return which pools may run one host more where ``giver`` runs one less, shape (P,)."""
        fewer = hosts.copy()
        fewer[giver] -= 1
        return self.problem.may_grow(fewer)

    def _same_price(self, giver: int, hosts: Ints) -> Bools:
        """Return where one host more costs what one less of ``giver`` saves, shape (P,)."""
        existing = self.problem.existing
        is_new = hosts[giver] > existing[giver]
        saved = self.price[giver] + self.extra * is_new
        paid = self.price + self.extra * (hosts >= existing)
        same: Bools = paid == saved
        return same


def cut_master(problem: Problem, reference: Floats | None) -> CutMaster:
    """Return the model without cuts; ``reference`` (P,) is even sharing if None."""
    if reference is None:
        reference = reference_counts(problem, falses(len(problem.pool)))
    if problem.objective == "cost":
        return CutMaster(problem, as_floats(problem.host_cost), 0.0, reference)
    # One more new host outweighs all hosts that run.
    more_than_all = float(problem.max_hosts.sum() + 1)
    extra = more_than_all if problem.objective == "new_hosts" else 0.0
    return CutMaster(problem, np.ones(problem.pools), extra, reference)


class _Relaxed:
    """The linear relaxation, kept from round to round.

    The cost of a pool's hosts is convex, with corners at r_p and where hosts would have to be added; so its hosts are
    the sum of columns between these corners, and no distances are needed.
    """

    def __init__(self, master: CutMaster, seed: int) -> None:
        most = as_floats(master.problem.max_hosts)
        tie = _RELAXED_TIE / master.farthest
        near = np.minimum(master.reference, most)
        corners = [near]
        below, above = master.price - tie, master.price + tie
        slope = [below, above]
        if master.extra:
            here = np.minimum(master.problem.existing, most)
            corners = [np.minimum(near, here), np.maximum(near, here)]
            more = np.where(near < here, tie, master.extra - tie)
            slope = [below, master.price + more, above + master.extra]
        self.corners = np.array([np.zeros_like(most), *corners, most])
        self.away = tie * float(master.reference.sum())  # the distance without any hosts
        model = ModelBuilder()
        widths = np.diff(self.corners, axis=0)
        model.block(widths.size, np.concatenate(slope), widths.ravel())
        self.program = GrowingProgram(model.program(), seed)
        self.known = 0
        taken, fit = master.problem.host_rows
        if len(fit):
            self.program.add(self._tiled(-taken), -as_floats(fit))

    def _tiled(self, room: Ints) -> Compressed:
        """Return rows over host counts, shape (R, P), as rows over the columns between corners."""
        parts = len(self.corners) - 1
        return rows_of(np.tile(as_floats(room), parts))

    def solve(self, room: Ints, least: Ints, budget: SolveBudget) -> tuple[Floats, float] | None:
        """Return counts (P,), not whole, and their cost; None where that is not settled or there are none."""
        parts = len(self.corners) - 1
        if len(least) > self.known:
            new_room = room[self.known :]
            new_least = least[self.known :]
            self.program.add(self._tiled(new_room), as_floats(new_least))
            self.known = len(least)
        answer = self.program.solve(budget)
        if answer.outcome.state != "optimal":
            return None
        counts = answer.x.reshape(parts, -1).sum(axis=0)
        return counts, answer.outcome.objective + self.away
