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

from dataclasses import dataclass

import numpy as np

from planner.explain.arcs import ExtraArcs
from planner.fleet import Bools, Ints
from planner.sizing import (
    Loads,
    ModelBuilder,
    Problem,
    SolveBudget,
    add_capacity,
    add_host_limits,
    group,
    solve_arrays,
)


@dataclass(frozen=True)
class Opened:
    """An answer: positions of the changes made and of the extra arcs used; ``fewest``: proven that fewer do not do."""

    changes: Ints
    used: Ints
    fewest: bool


class OpeningModel:
    """The model of one fleet, kept so that rows (8) and (9) can be added between solves."""

    def __init__(self, problem: Problem, extra: ExtraArcs, most: float | None, *, flows: bool = True) -> None:
        """``most`` is the limit L on hosts, or on new hosts where that is the objective; None for no limit.

        The sites of ``problem`` are served all; they are not split. Without ``flows`` the model leaves out f and o,
        with the rows in which they are: it knows only the sets (7) of who has to be served where.
        """
        self.problem, self.extra = problem, extra
        self.rows = rows = ModelBuilder()
        self.n = rows.block(problem.pools, upper=problem.max_hosts.astype(np.float64), whole=True)
        self.a = rows.block(problem.pools)
        if flows:
            self.classes = classes = group(problem, by_weight=False)
            size = classes.size.astype(np.float64)
            self.f = rows.block(len(classes.pool), upper=size[classes.of_arc], whole=classes.arc_fixed)
            self.o = rows.block(classes.count, upper=np.where(np.isfinite(classes.own_cost), size, 0.0))
        several = problem.clusters[extra.site] > 1
        self.y = rows.block(len(extra), upper=1.0, whole=several if flows else True)
        self.u = rows.block(len(extra.names), upper=1.0, whole=True)
        if flows:
            self._add_sites()
            self._add_pools()
        self._add_hosts()
        self._add_switches()
        if most is not None:
            counted = self.a if problem.objective == "new_hosts" else self.n
            self.rows.row([(counted, 1.0)], -np.inf, float(most))

    def _add_sites(self) -> None:
        classes, extra = self.classes, self.extra
        every = np.arange(classes.count)
        terms = [(classes.of_arc, self.f, 1.0), (every, self.o, 1.0), (classes.of_site[extra.site], self.y, 1.0)]
        size = classes.size.astype(np.float64)
        self.rows.add(terms, classes.count, size, size)

    def _add_pools(self) -> None:
        problem, classes, extra = self.problem, self.classes, self.extra
        old = Loads(classes.pool, self.f, classes.arc_items)
        new = Loads(extra.pool, self.y, problem.clusters[extra.site])
        add_capacity(self.rows, problem.caps, self.n, [old, new])
        pools = np.arange(problem.pools)
        if problem.host_weight is not None:
            weight, new_weight = classes.arc_item_weight, problem.item_weight[extra.site]
            terms = [(old.pool, self.f, weight), (new.pool, self.y, new_weight)]
            self.rows.add([*terms, (pools, self.n, -problem.host_weight)], problem.pools, -np.inf, 0.0)
        for limit in problem.limits:
            each, new_each = classes.amounts[limit.measure][classes.of_arc], problem.amounts[limit.measure][extra.site]
            at, also = np.flatnonzero(limit.pools[classes.pool]), np.flatnonzero(limit.pools[extra.pool])
            self.rows.row([(self.f[at], each[at]), (self.y[also], new_each[also])], -np.inf, limit.most)

    def _add_hosts(self) -> None:
        problem, pools = self.problem, np.arange(self.problem.pools)
        add_host_limits(self.rows, problem.host_limits, self.n)
        if problem.objective == "new_hosts":
            existing = problem.existing.astype(np.float64)
            self.rows.add([(pools, self.n, 1.0), (pools, self.a, -1.0)], problem.pools, -np.inf, existing)

    def _add_switches(self) -> None:
        extra = self.extra
        _, first, group_of = np.unique(
            np.stack((extra.site, extra.switch)), axis=1, return_index=True, return_inverse=True
        )
        switches = self.u[extra.switch[first]]
        terms = [(group_of.ravel(), self.y, 1.0), (np.arange(len(first)), switches, -1.0)]
        self.rows.add(terms, len(first), -np.inf, 0.0)
        sites, site_of = np.unique(extra.site, return_inverse=True)
        self.rows.add([(site_of, self.y, 1.0)], len(sites), -np.inf, 1.0)

    def add_set(self, inside: Bools, room: Ints, size: int, divisor: int, needs: int) -> None:
        """Add a set of the proof (7): sites ``inside`` (S,), ``room`` (P,) of one host for items of ``size``."""
        extra, clusters = self.extra, self.problem.clusters[self.extra.site]
        leaving = np.flatnonzero(inside[extra.site] & (room[extra.pool] == 0) & (clusters >= size))
        items = clusters[leaving] if size == 1 else np.ones(len(leaving), dtype=np.int64)
        pools = np.flatnonzero(room)
        terms = [(self.n[pools], -(-room[pools] // divisor)), (self.y[leaving], -(-items // divisor))]
        self.rows.row([(columns, values.astype(np.float64)) for columns, values in terms], float(needs), np.inf)

    def rule_out(self, opened: Bools) -> None:
        """Ask for an extra arc outside ``opened`` (X,): a plan has shown that these do not do (8)."""
        self.rows.row([(self.y[~opened], 1.0)], 1.0, np.inf)

    def another(self, answer: Opened) -> None:
        """Ask for an answer that does not contain this one (9)."""
        self.rows.row([(self.u[answer.changes], 1.0)], -np.inf, float(len(answer.changes) - 1))

    def solve(self, budget: SolveBudget) -> Opened | None:
        """Return the fewest changes and, among those, the smallest; None when there are none or time ended."""
        cost = np.zeros(self.rows.columns)
        cost[self.u] = 1.0
        fewest = solve_arrays(self.rows.program(cost), budget)
        if not fewest.outcome.has_solution:
            return None
        number = round(float(fewest.x[self.u].sum()))
        largest = float(self.extra.size.max(initial=0.0))
        best = fewest
        if number and largest > 0:
            cost[self.y] = 0.5 * self.extra.size / (number * largest)
            smallest = solve_arrays(self.rows.program(cost), budget)
            if smallest.outcome.has_solution and round(float(smallest.x[self.u].sum())) <= number:
                best = smallest
        return Opened(
            changes=np.flatnonzero(best.x[self.u] > 0.5),
            used=np.flatnonzero(best.x[self.y] > 1e-6),
            fewest=fewest.outcome.state == "optimal",
        )
