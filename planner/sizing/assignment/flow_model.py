"""The class flow model.

Sets and data
    c in K     classes of sites that nothing here can tell apart: size s_c, k_c clusters that share a
               host, d_c units a site sends (1, or its clusters where sites may be split), weight w_c
    p in P     pools: cap C_p, at most M_p hosts, e_p of them existing, price h_p
    (c, p)     eligible arcs, pair cost g_cp
Variables
    n_p whole, 0..M_p      hosts that run
    f_cp >= 0              units of class c on pool p (whole where k_c > 1, or where limits are not those of a flow)
    z_c, o_c whole, >= 0   sites of c left unserved, and sites that use their own tie-breaker
    a_p >= 0               hosts to add
Constraints
    (1) sum_p f_cp + d_c (z_c + o_c) = d_c s_c     every site is somewhere
    (2) sum_c k_c f_cp <= C_p n_p                  no pool is overfilled
    (2b) sum_{c, p in l} b_lc f_cp <= B_l          nor a hub or zone by limit l: b_lc kb/s, clusters or weight a unit
    (2d) sum_c w_c f_cp <= W n_p                   where the weight on a host is limited to W: w_c a unit
    (2e) sum_p u_lp n_p <= U_l                     nor do hosts of several pools take more together than limit l allows
    (2c) sum_p n_p >= N                            where pair costs count: N of the largest hosts hold all clusters
    (3) sum_{c: k_c >= t} f_cp <= floor(C_p/t) n_p for each size t that does not divide C_p: a host
                                                   holds that many items of t clusters or more
    (3b) f_cp <= min(d_c s_c, floor(C_p/k_c)) n_p  where pair costs count: implied, but the relaxation is far stronger;
                                                   those that it needs, see `assignment.linking_rows`
    (4) a_p >= n_p - e_p
    (5) the items of pool p pack into n_p hosts    arc-flow rows, for the pools where it matters; with (2d) hosts j:
                                                   sum_c k_c x_cj <= C_p r_j, sum_c w_c x_cj <= W r_j, sum_j r_j <= n_p
    (6) aims settled before keep their value
With n fixed and all k_c = 1, (1) and (2) are a transportation problem, so f may be continuous.

Sources: transportation integrality, G. B. Dantzig, Linear Programming and Extensions (1963); (5) as in
`packing.arc_flow`. (3) is the rounding of (2) divided by t.
"""

from __future__ import annotations

import numpy as np

from planner.arrays import as_floats, indices, int_array, int_zeros, rounded, totals
from planner.fleet import Bools, Floats, Ints
from planner.sizing.assignment.linking_rows import add_open_rows, fewest_hosts, open_arcs, open_limits
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.packing.arc_flow import add_fillings
from planner.sizing.packing.pools import unpacked
from planner.sizing.packing.two_dimensions import add_weighed_fillings
from planner.sizing.solution.counts import Aim, Counts
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.highs import solve_arrays
from planner.sizing.solvers.model_builder import (
    Loads,
    ModelBuilder,
    Terms,
    add_capacity,
    add_host_limits,
    add_place_limits,
    add_weight_on_hosts,
)


class FlowModel:
    """One class flow model, kept so that packing rows and settled aims can be added between solves.

    ``n`` (P,), ``f`` (A,) and ``a`` (P,) are positions of columns; ``z`` and ``o`` those of the classes ``left_out_of``
    and ``own_of``, which are all that can be left out, and all that can use their own tie-breakers. ``serve_all``: the
    model leaves nobody out. ``hosts`` (P,): their counts, where these are given.
    """

    def __init__(self, problem: Problem, classes: Classes, *, serve_all: bool, hosts: Ints | None = None) -> None:
        self.problem, self.classes = problem, classes
        self.rows = ModelBuilder()
        self.packed: set[int] = set()
        self._add_columns(serve_all)
        self._add_rows()
        if hosts is not None:
            self.give(hosts)

    def _add_columns(self, serve_all: bool) -> None:
        problem = self.problem
        classes = self.classes
        rows = self.rows
        used = np.bincount(classes.pool, minlength=problem.pools) > 0
        most_hosts = np.where(used, problem.max_hosts, 0)
        self.n = rows.block(problem.pools, upper=most_hosts, whole=True)
        arcs = len(classes.pool)
        self.f = rows.block(arcs, upper=classes.arc_demand, whole=classes.arc_fixed)
        self.left_out_of = np.arange(0 if serve_all else classes.count)
        self.own_of = np.flatnonzero(classes.may_own)
        most_out = classes.size[self.left_out_of]
        most_own = classes.size[self.own_of]
        self.z = rows.block(len(self.left_out_of), upper=most_out, whole=True)
        self.o = rows.block(len(self.own_of), upper=most_own, whole=True)
        self.a = rows.block(problem.pools)

    def _add_rows(self) -> None:
        problem = self.problem
        classes = self.classes
        rows = self.rows
        units = as_floats(classes.unit_demand)
        demand = as_floats(classes.demand)
        shared: Terms = classes.of_arc, self.f, 1.0
        left_out: Terms = self.left_out_of, self.z, units[self.left_out_of]
        own: Terms = self.own_of, self.o, units[self.own_of]
        rows.equal([shared, left_out, own], classes.count, demand)
        clusters = Loads(classes.pool, self.f, classes.arc_items)
        add_capacity(rows, problem.caps, self.n, [clusters])
        weights = Loads(classes.pool, self.f, classes.arc_item_weight)
        add_weight_on_hosts(rows, problem.host_weight, self.n, weights)
        add_place_limits(rows, problem, classes.pool, self.f, classes.amounts, classes.of_arc)
        add_host_limits(rows, problem.host_limits, self.n)
        if problem.objective == "cost" and problem.pair_cost.any():
            self._add_linking_rows()
        if problem.objective == "new_hosts":
            rows.no_more(self.n, self.a, problem.existing)

    def _add_linking_rows(self) -> None:
        """Add (2c) and (3b)."""
        problem, classes = self.problem, self.classes
        if not len(self.left_out_of) and not len(self.own_of):
            fewest = fewest_hosts(problem, int(classes.demand @ classes.items))
            self.rows.at_least([(self.n, 1.0)], fewest)
        arcs = open_arcs(problem, classes)
        limits = open_limits(problem, classes)
        add_open_rows(self.rows, classes, limits, arcs, (self.n, self.f))

    def give(self, hosts: Ints) -> None:
        """Fix the counts of ``hosts`` (P,)."""
        each: Terms = indices(hosts), self.n, 1.0
        self.rows.equal([each], len(hosts), hosts)

    def pack_pool(self, p: int) -> None:
        """Add the rows (5) of pool ``p``, once."""
        self.packed.add(p)
        problem, classes = self.problem, self.classes
        weighed = problem.host_weight is not None
        matters = classes.arc_multi_cluster | weighed
        arcs = np.flatnonzero((classes.pool == p) & matters)
        items = classes.arc_items[arcs]
        weights = classes.arc_item_weight[arcs]
        kinds = list(zip(items.tolist(), weights.tolist(), strict=True))
        distinct = sorted(set(kinds), reverse=True)
        of_arc = int_array([distinct.index(kind) for kind in kinds])
        units = totals(of_arc, classes.arc_demand[arcs], len(distinct))
        cap = int(problem.caps[p])
        most = int(problem.max_hosts[p])
        if problem.host_weight is not None:
            on_host = cap, problem.host_weight
            of_size = as_floats(units)
            packed = add_weighed_fillings(self.rows, distinct, of_size, on_host, most, self.n[p])
        else:
            sizes = [size for size, _ in distinct]
            whole_units = rounded(units).tolist()
            counts = dict(zip(sizes, whole_units, strict=True))
            packed = add_fillings(self.rows, counts, cap, most, self.n[p])
        sent: Terms = of_arc, self.f[arcs], -1.0
        self.rows.equal([packed, sent], len(distinct))

    def costs(self, aim: Aim) -> Floats:
        """Return what ``aim`` makes small, shape (columns,)."""
        problem, classes = self.problem, self.classes
        cost = np.zeros(self.rows.columns)
        if aim in ("unserved_kept", "unserved_weight"):
            weight = classes.weight * classes.kept if aim == "unserved_kept" else classes.weight
            cost[self.z] = weight[self.left_out_of]
        elif aim == "hosts":
            cost[self.n] = 1.0
        elif aim == "new_hosts":
            cost[self.a] = 1.0
        elif aim == "own":
            cost[self.o] = 1.0
        elif aim == "own_cost":
            cost[self.o] = classes.own_cost[self.own_of]
        else:
            cost[self.n] = problem.host_cost
            # A pair cost is one site's: a split site's share of it would not be what is paid (intake refuses that).
            cost[self.f] = classes.cost
            cost[self.o] = classes.own_cost[self.own_of]
        return cost

    def left_out(self, aim: Aim, counts: Counts) -> float:
        """Return the weight that ``counts`` leave out, of all sites or of those to be kept."""
        kept = self.classes.kept if aim == "unserved_kept" else True
        return float((counts.unserved * kept) @ self.classes.weight)

    def left_out_in_order(self, counts: Counts) -> tuple[float, float]:
        """Return the weight that ``counts`` leave out: of sites to be kept, which counts first, and of all."""
        return self.left_out("unserved_kept", counts), self.left_out("unserved_weight", counts)

    def keep(self, cost: Floats, least: float, most: float) -> None:
        """Keep the total of ``cost`` (columns,) from ``least`` to ``most`` from here on (6)."""
        counted = np.flatnonzero(cost)
        self.rows.row([(counted, cost[counted])], least, most)

    def fix_objective(self, aim: Aim, value: float) -> None:
        """Keep ``aim`` at ``value`` or below from here on."""
        # Half a unit of slack on whole aims; money gets a relative allowance for solver tolerances.
        money = aim in ("cost", "own_cost")
        slack = 1e-7 * max(1.0, abs(value)) if money else 0.5
        self.keep(self.costs(aim), -np.inf, value + slack)

    def at_least(self, aim: Aim, value: float) -> None:
        """Give the solver a lower bound on ``aim``, the ``value`` that is known from elsewhere."""
        slack = 1e-6 * max(1.0, abs(value))
        self.keep(self.costs(aim), value - slack, np.inf)

    def solve(self, aim: Aim, budget: SolveBudget) -> tuple[Outcome, Counts | None]:
        """Minimise ``aim``, packed or not; the counts are None when no plan was found."""
        return self._solve(self.costs(aim), _stage(aim), budget)

    def minimise(self, aim: Aim, budget: SolveBudget) -> tuple[Outcome, Counts | None]:
        """Minimise ``aim`` over counts that go into their hosts; the counts are None when no plan was found."""
        return self._packed(self.costs(aim), _stage(aim), budget)

    def choose_arcs(self, cost: Floats, budget: SolveBudget) -> Counts | None:
        """Minimise the total of ``cost`` (A,) and keep it there for what follows; None when time ends before."""
        _, counts = self._packed(self._on_arcs(cost), "moves and round trips", budget)
        if counts is not None:
            value = float(cost @ counts.flow)
            slack = 1e-6 * max(1.0, value)
            self.keep(self._on_arcs(cost), -np.inf, value + slack)
        return counts

    def _on_arcs(self, cost: Floats) -> Floats:
        """Return a cost of arcs (A,) as one of columns."""
        found = np.zeros(self.rows.columns)
        found[self.f] = cost
        return found

    def _packed(self, cost: Floats, stage: str, budget: SolveBudget) -> tuple[Outcome, Counts | None]:
        """Solve, adding the rows (5) of each pool whose items turn out not to pack."""
        while True:
            outcome, counts = self._solve(cost, stage, budget)
            if counts is None:
                return outcome, None
            loose = unpacked(self.problem, self.classes, counts.hosts, counts.flow, budget)
            if not loose:
                return outcome, counts
            if budget.spent or loose <= self.packed:
                # No time to make it exact: what was solved is a bound, not a plan.
                return Outcome("unsolved", outcome.word, bound=outcome.bound), None
            for p in loose - self.packed:
                self.pack_pool(p)

    def _solve(self, cost: Floats, stage: str, budget: SolveBudget) -> tuple[Outcome, Counts | None]:
        """Minimise ``cost``; columns that were added since cost nothing."""
        added = self.rows.columns - len(cost)
        grown = np.append(cost, np.zeros(added))
        answer = solve_arrays(self.rows.program(grown), budget, stage=stage)
        return answer.outcome, self._counts(answer.x) if answer.outcome.has_solution else None

    def _counts(self, x: Floats) -> Counts:
        whole: Ints = rounded(x)
        unserved, own = int_zeros((2, self.classes.count))
        unserved[self.left_out_of] = whole[self.z]
        own[self.own_of] = whole[self.o]
        fixed: Bools = self.classes.arc_fixed
        flow = np.where(fixed, whole[self.f], x[self.f])
        return Counts(whole[self.n], flow, unserved, own)


def _stage(aim: Aim) -> str:
    """Return the name under which progress is told."""
    return "weight" if aim.startswith("unserved") else aim
