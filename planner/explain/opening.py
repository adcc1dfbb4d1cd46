"""The fewest changes that let all sites fit: the class flow model with extra arcs, as arrays.

Sets and data
    c in K        classes of sites: size s_c, k_c clusters that share a host; arcs (c, p) as in `assignment.flow_model`
    x in X        extra arcs: site i_x, pool p_x, opened by the change w_x, which has to be of size g_x
Variables
    n_p whole, 0..M_p; a_p >= 0 hosts to add; f_cp >= 0; o_c >= 0 sites that use their own tie-breaker
    y_x in {0, 1} site i_x uses the extra arc
    u_w in {0, 1} the change is made
Constraints
    (1) sum_p f_cp + o_c + sum_{x: i_x in c} y_x = s_c
    (2) sum over a pool of k_c f_cp + k y_x <= C_p n_p, and (3) the same for items of t clusters or more, floor(C_p / t)
    (4) sum_p n_p <= L, or sum_p a_p <= L with a_p >= n_p - e_p
    (5) sum_{x of site i} y_x <= 1, sum_{x of site i and change w} y_x <= u_w
    (6) limits on hubs, zones and hosts as rows (2b), (2d) and (2e) of the class flow model
    (7) sum_p ceil(C_p / d) n_p + sum over extra arcs x from S to outside N of ceil(k_x / d) y_x >= ceil(k(S) / d)
        for each set S of the plan's proof, which reaches the pools N and counts divided by d (Chvatal rounding)
    (8) sum over x outside an opened set of y_x >= 1, for each opened set that a plan has shown not to do
    (9) sum_{w in W} u_w <= |W| - 1, for each answer W given before
First  min sum u; then  min sum u + (1/2) sum g y / (most that K changes can add up to),  which leaves sum u at K.

(8) makes the answer exact although (2) and (3) do not pack kept-together sites into hosts: a combinatorial Benders
cut (J. N. Hooker, G. Ottosson, Mathematical Programming 96 (2003) 33-60; from memory).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp

from planner.explain.arcs import ExtraArcs
from planner.fleet import Bools, Floats, Ints
from planner.sizing import LinearProgram, Problem, SolveBudget, group, solve_arrays


@dataclass(frozen=True)
class Opened:
    """An answer: positions of the changes made and of the extra arcs used; ``fewest``: proven that fewer do not do."""

    changes: Ints
    used: Ints
    fewest: bool


@dataclass
class _Rows:
    """Rows of a sparse matrix as they come."""

    row: list[Ints] = field(default_factory=list)
    column: list[Ints] = field(default_factory=list)
    value: list[Floats] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def add(self, terms: list[tuple[Ints, Floats | float]], low: float, high: float) -> None:
        """Add one row: sum of coefficient times column, between ``low`` and ``high``."""
        for columns, values in terms:
            self.row.append(np.full(len(columns), len(self.low), dtype=np.int64))
            self.column.append(columns)
            self.value.append(np.broadcast_to(np.asarray(values, dtype=np.float64), columns.shape))
        self.low.append(low)
        self.high.append(high)

    def add_many(
        self, terms: list[tuple[Ints, Ints, float]], rows: int, low: Floats | float, high: Floats | float
    ) -> None:
        """Add ``rows`` rows; a term is the row among them and the column of each entry, and their coefficient."""
        first = len(self.low)
        for row, columns, value in terms:
            self.row.append(first + row)
            self.column.append(columns)
            self.value.append(np.full(len(columns), value))
        self.low.extend(np.broadcast_to(low, rows).tolist())
        self.high.extend(np.broadcast_to(high, rows).tolist())

    def program(self, cost: Floats, upper: Floats, whole: Bools) -> LinearProgram:
        at = (np.concatenate(self.row), np.concatenate(self.column))
        matrix = sp.csc_array(sp.coo_array((np.concatenate(self.value), at), shape=(len(self.low), len(cost))))
        return LinearProgram(cost, upper, matrix, np.array(self.low), np.array(self.high), whole)


class OpeningModel:
    """The model of one fleet, kept so that rows (8) and (9) can be added between solves."""

    def __init__(self, problem: Problem, extra: ExtraArcs, most: float | None) -> None:
        """``most`` is the limit L on hosts, or on new hosts where that is the objective; None for no limit.

        The sites of ``problem`` are served all; they are not split.
        """
        self.problem, self.extra = problem, extra
        self.classes = group(problem, by_weight=False)
        sizes = (problem.pools, problem.pools, len(self.classes.pool), self.classes.count, len(extra), len(extra.names))
        ends = np.cumsum((0, *sizes))
        self.n, self.a, self.f, self.o, self.y, self.u = (
            np.arange(low, high) for low, high in itertools.pairwise(ends)
        )
        self.columns = int(ends[-1])
        self.rows = _Rows()
        self._add_sites()
        self._add_pools()
        self._add_switches()
        if most is not None:
            counted = self.a if problem.objective == "new_hosts" else self.n
            self.rows.add([(counted, 1.0)], -np.inf, float(most))

    def _add_sites(self) -> None:
        classes, extra = self.classes, self.extra
        every = np.arange(classes.count)
        terms = [(classes.of_arc, self.f, 1.0), (every, self.o, 1.0), (classes.of_site[extra.site], self.y, 1.0)]
        size = classes.size.astype(np.float64)
        self.rows.add_many(terms, classes.count, size, size)

    def _add_pools(self) -> None:
        problem, classes, extra = self.problem, self.classes, self.extra
        items, new_items = classes.items[classes.of_arc], problem.clusters[extra.site]
        weight, new_weight = classes.item_weight[classes.of_arc], problem.item_weight[extra.site]
        for p in range(problem.pools):
            old, new = np.flatnonzero(classes.pool == p), np.flatnonzero(extra.pool == p)
            cap = int(problem.caps[p])
            terms = [(self.f[old], items[old].astype(float)), (self.y[new], new_items[new].astype(float))]
            self.rows.add([*terms, (self.n[p : p + 1], -float(cap))], -np.inf, 0.0)
            for size in np.unique(np.concatenate((items[old], new_items[new]))).tolist():
                if size > 1 and cap % size:
                    large = [(self.f[old[items[old] >= size]], 1.0), (self.y[new[new_items[new] >= size]], 1.0)]
                    self.rows.add([*large, (self.n[p : p + 1], -float(cap // size))], -np.inf, 0.0)
            if problem.host_weight is not None:
                terms = [(self.f[old], weight[old]), (self.y[new], new_weight[new])]
                self.rows.add([*terms, (self.n[p : p + 1], -problem.host_weight)], -np.inf, 0.0)
            if problem.objective == "new_hosts":
                self.rows.add(
                    [(self.n[p : p + 1], 1.0), (self.a[p : p + 1], -1.0)], -np.inf, float(problem.existing[p])
                )
        for shared in problem.host_limits:
            self.rows.add([(self.n[shared.pools], shared.each.astype(np.float64))], -np.inf, float(shared.most))
        for limit in problem.limits:
            each, new_each = classes.amounts[limit.measure][classes.of_arc], problem.amounts[limit.measure][extra.site]
            old, new = np.flatnonzero(limit.pools[classes.pool]), np.flatnonzero(limit.pools[extra.pool])
            self.rows.add([(self.f[old], each[old]), (self.y[new], new_each[new])], -np.inf, limit.most)

    def _add_switches(self) -> None:
        extra = self.extra
        _, first, group_of = np.unique(
            np.stack((extra.site, extra.switch)), axis=1, return_index=True, return_inverse=True
        )
        switches = self.u[extra.switch[first]]
        terms = [(group_of.ravel(), self.y, 1.0), (np.arange(len(first)), switches, -1.0)]
        self.rows.add_many(terms, len(first), -np.inf, 0.0)
        sites, site_of = np.unique(extra.site, return_inverse=True)
        self.rows.add_many([(site_of, self.y, 1.0)], len(sites), -np.inf, 1.0)

    def add_set(self, inside: Bools, room: Ints, size: int, divisor: int, needs: int) -> None:
        """Add a set of the proof (7): sites ``inside`` (S,), ``room`` (P,) of one host for items of ``size``."""
        extra, clusters = self.extra, self.problem.clusters[self.extra.site]
        leaving = np.flatnonzero(inside[extra.site] & (room[extra.pool] == 0) & (clusters >= size))
        items = clusters[leaving] if size == 1 else np.ones(len(leaving), dtype=np.int64)
        pools = np.flatnonzero(room)
        terms = [(self.n[pools], -(-room[pools] // divisor)), (self.y[leaving], -(-items // divisor))]
        self.rows.add([(columns, values.astype(np.float64)) for columns, values in terms], float(needs), np.inf)

    def rule_out(self, opened: Bools) -> None:
        """Ask for an extra arc outside ``opened`` (X,): a plan has shown that these do not do (8)."""
        self.rows.add([(self.y[~opened], 1.0)], 1.0, np.inf)

    def another(self, answer: Opened) -> None:
        """Ask for an answer that does not contain this one (9)."""
        self.rows.add([(self.u[answer.changes], 1.0)], -np.inf, float(len(answer.changes) - 1))

    def solve(self, budget: SolveBudget) -> Opened | None:
        """Return the fewest changes and, among those, the smallest; None when there are none or time ended."""
        cost = np.zeros(self.columns)
        cost[self.u] = 1.0
        fewest = solve_arrays(self._program(cost), budget)
        if not fewest.outcome.has_solution:
            return None
        number = round(float(fewest.x[self.u].sum()))
        largest = float(self.extra.size.max(initial=0.0))
        best = fewest
        if number and largest > 0:
            cost[self.y] = 0.5 * self.extra.size / (number * largest)
            smallest = solve_arrays(self._program(cost), budget)
            if smallest.outcome.has_solution and round(float(smallest.x[self.u].sum())) <= number:
                best = smallest
        return Opened(
            changes=np.flatnonzero(best.x[self.u] > 0.5),
            used=np.flatnonzero(best.x[self.y] > 1e-6),
            fewest=fewest.outcome.state == "optimal",
        )

    def _program(self, cost: Floats) -> LinearProgram:
        problem, classes = self.problem, self.classes
        size = classes.size.astype(np.float64)
        upper = np.concatenate(
            (
                problem.max_hosts.astype(np.float64),
                np.full(problem.pools, np.inf),
                size[classes.of_arc],
                np.where(np.isfinite(classes.own_cost), size, 0.0),
                np.ones(len(self.extra) + len(self.extra.names)),
            )
        )
        whole = np.zeros(self.columns, dtype=np.bool_)
        whole[self.n], whole[self.u] = True, True
        whole[self.f] = classes.fixed[classes.of_arc]
        whole[self.y] = self.problem.clusters[self.extra.site] > 1
        return self.rows.program(cost, upper, whole)
