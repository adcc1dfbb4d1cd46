"""The model over host counts alone: which counts meet the inequalities learned so far, cheapest first.

    minimise   sum_p c_p n_p + d sum_p |n_p - r_p|
    subject to the inequalities of every cut, 0 <= n_p <= M_p whole

r is a spread of the demand over all pools, and d so small that it only chooses among equals. The linear relaxation is
a lower bound; where its solution rounds to counts that cost no more than that, they are optimal and no
branch and bound is needed.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from planner.fleet import Floats, Ints
from planner.sizing.certificate import Inequality, inequalities
from planner.sizing.layers import Cut
from planner.sizing.problem import Problem
from planner.sizing.solver import Answer, Effort, LinearProgram, solve_arrays

_RELAXED_TIE = 0.1  # what all distance together may cost in the relaxation, where a host costs 1
_WHOLE_TIE = 0.5  # the same on whole counts, whose values are whole: half a unit only chooses among equals


@dataclass
class Master:
    """The model. ``price`` (P,): of a host that runs; ``extra``: of a host to add, on top; ``reference`` (P,): r."""

    problem: Problem
    price: Floats
    extra: float
    reference: Floats
    rows: list[Inequality] = field(default_factory=list)
    used: list[Ints] = field(default_factory=list)  # pools of each row

    def add(self, cut: Cut) -> None:
        """Take in the inequalities of a cut."""
        for row in inequalities(cut):
            self.rows.append(row)
            self.used.append(np.flatnonzero(row.room))

    def value(self, hosts: Ints) -> float:
        """Return the cost of ``hosts`` (P,), without distance."""
        return float(self.price @ hosts + self.extra * np.maximum(0, hosts - self.problem.existing).sum())

    def solve(self, effort: Effort, *, exact: bool = True) -> tuple[Ints | None, float]:
        """Return counts (P,) and a lower bound on their cost: inf when there are none, -inf when time ended.

        Unless ``exact``, the counts may be the relaxation rounded and cost more than the bound.
        """
        if not exact and self.problem.objective != "cost":
            answer, bound = self._answer(_RELAXED_TIE, effort, whole=False)
            if answer.outcome.state == "optimal":
                hosts = self._rounded(answer.x[: self.problem.pools], bound)
                if hosts is not None:
                    return hosts, bound
        answer, bound = self._answer(0.0 if self.problem.objective == "cost" else _WHOLE_TIE, effort, whole=True)
        found = answer.outcome.has_solution
        return np.rint(answer.x[: self.problem.pools]).astype(np.int64) if found else None, bound

    def _answer(self, tie: float, effort: Effort, *, whole: bool) -> tuple[Answer, float]:
        """Return the solver's answer and the bound in it, where distance may cost ``tie`` in all."""
        answer = solve_arrays(self._program(tie, whole=whole), effort)
        outcome = answer.outcome
        if outcome.state == "infeasible":
            return answer, float("inf")
        bound = outcome.objective if outcome.state == "optimal" and not whole else outcome.bound
        if self.problem.objective == "cost" or not np.isfinite(bound):
            return answer, bound
        return answer, float(np.ceil(bound - tie - 1e-6))

    def _program(self, tie: float, *, whole: bool) -> LinearProgram:
        """Return the model as arrays: columns n_p, distances t_p >= |n_p - r_p|, and where it counts hosts to add."""
        problem, pools, reference = self.problem, self.problem.pools, self.reference
        each, cuts = np.arange(pools), len(self.rows)
        farthest = float(np.maximum(reference, problem.max_hosts - reference).sum())
        one = np.ones(pools)
        parts = [  # (rows, columns, values)
            (
                np.repeat(np.arange(cuts), [len(at) for at in self.used]),
                np.concatenate((*self.used, each[:0])),
                np.concatenate((*(row.room[at] for row, at in zip(self.rows, self.used, strict=True)), one[:0])),
            ),
            *((cuts + each, pools * k + each, sign * one) for k, sign in enumerate((1, -1))),  # n - t <= r
            *((cuts + pools + each, pools * k + each, one) for k in range(2)),  # n + t >= r
        ]
        cost = [self.price, np.full(pools, tie / max(1.0, farthest))]
        least = [np.array([float(row.demand) for row in self.rows]), np.full(pools, -np.inf), reference]
        most = [np.full(cuts, np.inf), reference, np.full(pools, np.inf)]
        if self.extra:
            parts += [(cuts + 2 * pools + each, pools * k + each, sign * one) for k, sign in ((0, 1), (2, -1))]
            cost.append(np.full(pools, self.extra))
            least.append(np.full(pools, -np.inf))
            most.append(problem.existing.astype(np.float64))
        row, column, value = (np.concatenate(side) for side in zip(*parts, strict=True))
        shape = (cuts + (len(least) - 1) * pools, len(cost) * pools)
        return LinearProgram(
            cost=np.concatenate(cost),
            upper=np.concatenate((problem.max_hosts, *(np.full(pools, np.inf) for _ in cost[1:]))),
            matrix=sp.csc_array(sp.coo_array((value.astype(np.float64), (row, column)), shape=shape)),
            row_lower=np.concatenate(least),
            row_upper=np.concatenate(most),
            whole=np.arange(shape[1]) < pools if whole else None,
        )

    def _rounded(self, x: Floats, enough: float) -> Ints | None:
        """Return whole counts near ``x`` (P,) that meet every inequality, cheap ones, or None.

        Hosts are rounded down, then up where an inequality is short: by the largest fraction, or if that costs more
        than ``enough`` where most are. Those that turn out not to be needed go again (reverse delete).
        """
        room = np.array([row.room for row in self.rows]).T.copy()  # (P, rows)
        down = np.floor(x + 1e-6).astype(np.int64)
        lack = np.array([row.demand for row in self.rows]) - down @ room
        fraction = x - down
        helped = (room[:, lack > 0] > 0).sum(axis=1)
        best = None
        for order in (np.argsort(-fraction, kind="stable"), np.lexsort((-fraction, -helped))):
            hosts = self._filled(down, lack, room, order.tolist())
            if hosts is not None and (best is None or self.value(hosts) < self.value(best)):
                best = hosts
            if best is not None and self.value(best) <= enough:
                break
        return best

    def _filled(self, down: Ints, lack: Ints, room: Ints, order: list[int]) -> Ints | None:
        """Return ``down`` with single hosts more, in ``order`` of pools, until no inequality lacks anything."""
        hosts, lack = down.copy(), lack.copy()
        short = (lack > 0).any()
        while short:
            before = lack.sum()
            for p in order:
                if hosts[p] < self.problem.max_hosts[p] and (room[p] * (lack > 0)).any():
                    hosts[p] += 1
                    lack -= room[p]
            short = (lack > 0).any()
            if lack.sum() == before:
                return None
        for p in reversed(order):
            if hosts[p] and (lack + room[p] <= 0)[room[p] > 0].all():
                hosts[p] -= 1
                lack += room[p]
        return hosts
