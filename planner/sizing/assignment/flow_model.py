"""The class flow model, built with PuLP.

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

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

import numpy as np

from planner.fleet import Floats, Ints
from planner.sizing.assignment.linking_rows import fewest_hosts, open_arcs, open_limits
from planner.sizing.instance.classes import Classes
from planner.sizing.instance.problem import Problem
from planner.sizing.packing.arc_flow import arc_flow
from planner.sizing.packing.pools import unpacked
from planner.sizing.solution.counts import Aim, Counts
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.pulp_models import linear, solve_model

_MOST_SIZES = 12  # rows (3) for more sizes cost more than they cut


class FlowModel:
    """One class flow model, kept so that packing rows and settled aims can be added between solves."""

    def __init__(self, problem: Problem, classes: Classes, *, serve_all: bool) -> None:
        self.problem, self.classes = problem, classes
        import pulp

        self.model = pulp.LpProblem("hosts", pulp.LpMinimize)
        self.packed: set[int] = set()
        self.chosen = 0  # aims on arcs that are settled
        self._add_variables(serve_all)
        self._add_rows()

    def _whole(self, name: str, most: float) -> Any:
        return self.model.add_variable(name, 0, most, cat="Integer")

    def _add_variables(self, serve_all: bool) -> None:
        problem, classes = self.problem, self.classes
        # Named by position: PuLP would make one name of "A-1" and "A_1".
        self.n = [self._whole(f"n{p}", int(most)) for p, most in enumerate(problem.max_hosts)]
        whole = ("Continuous", "Integer")
        self.f = [
            self.model.add_variable(f"f{a}", 0, int(classes.demand[c]), cat=whole[int(classes.fixed[c])])
            for a, c in enumerate(classes.of_arc)
        ]
        self.z = {} if serve_all else {c: self._whole(f"z{c}", int(s)) for c, s in enumerate(classes.size)}
        self.o = {
            c: self._whole(f"o{c}", int(classes.size[c]))
            for c in np.flatnonzero(np.isfinite(classes.own_cost)).tolist()
        }
        self.a = [self.model.add_variable(f"a{p}", 0, None) for p in range(problem.pools)]

    def _add_rows(self) -> None:
        problem, classes = self.problem, self.classes
        of_pool: list[list[int]] = [[] for _ in range(problem.pools)]
        for arc, p in enumerate(classes.pool):
            of_pool[p].append(arc)
        for c in range(classes.count):
            arcs = range(classes.indptr[c], classes.indptr[c + 1])
            units = int(classes.unit_demand[c])
            elsewhere = [(x[c], units) for x in (self.z, self.o) if c in x]
            served = linear([*((self.f[a], 1) for a in arcs), *elsewhere])
            self._add(served == int(classes.demand[c]), f"site{c}")
        for p, arcs_in in enumerate(of_pool):
            if not arcs_in:
                self._add(1 * self.n[p] <= 0, f"idle{p}")
                continue
            items = {a: int(classes.items[classes.of_arc[a]]) for a in arcs_in}
            cap = int(problem.caps[p])
            load = linear([(self.f[a], items[a]) for a in arcs_in])
            self._add(load <= cap * self.n[p], f"cap{p}")
            sizes = sorted({k for k in items.values() if cap % k})
            for size in sizes if len(sizes) <= _MOST_SIZES else ():
                large = linear([(self.f[a], 1) for a in arcs_in if items[a] >= size])
                self._add(large <= (cap // size) * self.n[p], f"size{p}_{size}")
            if problem.host_weight is not None:
                self._add_weight_rows(p, arcs_in, problem.host_weight)
        self._add_limit_rows()
        if problem.objective == "cost" and problem.pair_cost.any():
            limits = open_limits(problem, classes)
            if not self.z and not self.o:
                fewest = fewest_hosts(problem, int(classes.demand @ classes.items))
                self._add(linear([(n, 1) for n in self.n]) >= fewest, "fewest")
            for a in open_arcs(problem, classes).tolist():
                self._add(1 * self.f[a] <= int(limits[a]) * self.n[int(classes.pool[a])], f"open{a}")
        if problem.objective == "new_hosts":
            for p in range(problem.pools):
                self._add(self.a[p] >= self.n[p] - int(problem.existing[p]), f"new{p}")

    def _add_weight_rows(self, p: int, arcs: list[int], most: float) -> None:
        """Add (2d), and as in (3) how many units of a weight or more a host can hold."""
        weight = {a: float(self.classes.item_weight[self.classes.of_arc[a]]) for a in arcs}
        self._add(linear([*((self.f[a], w) for a, w in weight.items()), (self.n[p], -most)]) <= 0, f"weight{p}")
        sizes = sorted(set(weight.values()))
        for i, size in enumerate(sizes if len(sizes) <= _MOST_SIZES else ()):
            large = linear([(self.f[a], 1) for a in arcs if weight[a] >= size])
            self._add(large <= int(most / size + 1e-9) * self.n[p], f"heavy{p}_{i}")

    def _add_limit_rows(self) -> None:
        classes = self.classes
        for i, limit in enumerate(self.problem.limits):
            each = classes.amounts[limit.measure][classes.of_arc]
            terms = [(self.f[a], float(each[a])) for a in np.flatnonzero(limit.pools[classes.pool])]
            if terms:
                self._add(linear(terms) <= limit.most, f"limit{i}")
        for i, shared in enumerate(self.problem.host_limits):
            terms = [(self.n[p], each) for p, each in zip(shared.pools.tolist(), shared.each.tolist(), strict=True)]
            self._add(linear(terms) <= shared.most, f"shared{i}")

    def _add(self, row: Any, name: str) -> None:
        self.model.addConstraint(row, name=name)

    def give(self, hosts: Ints) -> None:
        """Fix the host counts."""
        for p, most in enumerate(hosts.tolist()):
            self._add(1 * self.n[p] == most, f"given{p}")

    def pack_pool(self, p: int) -> None:
        """Add the rows (5) of pool ``p``, once."""
        self.packed.add(p)
        if self.problem.host_weight is not None:
            self._pack_host_by_host(p, self.problem.host_weight)
            return
        classes, cap = self.classes, int(self.problem.caps[p])
        by_size: dict[int, list[int]] = defaultdict(list)
        for arc in np.flatnonzero(classes.pool == p):
            if classes.multi_cluster[classes.of_arc[arc]]:
                by_size[int(classes.items[classes.of_arc[arc]])].append(int(arc))
        counts = {size: int(sum(classes.demand[classes.of_arc[a]] for a in arcs)) for size, arcs in by_size.items()}
        graph = arc_flow(counts, cap)
        flow = {arc: self._whole(f"g{p}_{arc[0]}_{arc[1]}", int(self.problem.max_hosts[p])) for arc in graph.arcs}
        balance: dict[int, list[tuple[Any, int]]] = {fill: [] for fill in graph.nodes}
        for (fill, size), x in flow.items():
            balance[fill].append((x, -1))
            balance[fill + size].append((x, 1))
        balance[0].append((self.n[p], 1))
        for fill, terms in balance.items():
            self._add(linear(terms) >= 0, f"fill{p}_{fill}")
        for size, arcs in by_size.items():
            terms = [*((x, 1) for (_, s), x in flow.items() if s == size), *((self.f[a], -1) for a in arcs)]
            self._add(linear(terms) >= 0, f"item{p}_{size}")

    def _pack_host_by_host(self, p: int, most: float) -> None:
        classes, hosts = self.classes, range(int(self.problem.max_hosts[p]))
        kinds: dict[tuple[int, float], list[int]] = defaultdict(list)
        for arc in np.flatnonzero(classes.pool == p).tolist():
            c = classes.of_arc[arc]
            kinds[int(classes.items[c]), float(classes.item_weight[c])].append(arc)
        runs = [self._whole(f"r{p}_{h}", 1) for h in hosts]
        load: list[list[tuple[Any, float]]] = [[(r, -int(self.problem.caps[p]))] for r in runs]
        weight: list[list[tuple[Any, float]]] = [[(r, -most)] for r in runs]
        for k, ((size, multi_cluster), arcs) in enumerate(sorted(kinds.items(), reverse=True)):
            units = int(sum(classes.demand[classes.of_arc[a]] for a in arcs))
            on = [self._whole(f"x{p}_{k}_{h}", units) for h in hosts]
            self._add(linear([*((x, 1) for x in on), *((self.f[a], -1) for a in arcs)]) == 0, f"kind{p}_{k}")
            for h, x in enumerate(on):
                load[h].append((x, size))
                weight[h].append((x, multi_cluster))
        for h in hosts:
            self._add(linear(load[h]) <= 0, f"load{p}_{h}")
            self._add(linear(weight[h]) <= 0, f"share{p}_{h}")
            if h:
                self._add(linear([(runs[h], 1), (runs[h - 1], -1)]) <= 0, f"next{p}_{h}")
        self._add(linear([*((r, 1) for r in runs), (self.n[p], -1)]) <= 0, f"runs{p}")

    def expression(self, aim: Aim) -> Any:
        """Return what ``aim`` makes small."""
        problem, classes = self.problem, self.classes
        terms: list[tuple[Any, float]]
        if aim in ("unserved_kept", "unserved_weight"):
            weight = classes.weight * classes.kept if aim == "unserved_kept" else classes.weight
            terms = [(z, int(weight[c])) for c, z in self.z.items() if weight[c]]
        elif aim == "hosts":
            terms = [(n, 1) for n in self.n]
        elif aim == "new_hosts":
            terms = [(a, 1) for a in self.a]
        elif aim == "own":
            terms = [(o, 1) for o in self.o.values()]
        elif aim == "own_cost":
            terms = [(o, float(classes.own_cost[c])) for c, o in self.o.items()]
        else:
            terms = [(n, float(problem.host_cost[p])) for p, n in enumerate(self.n)]
            # A pair cost is one site's: a split site's share of it would not be what is paid (intake refuses that).
            terms += [(f, float(classes.cost[a])) for a, f in enumerate(self.f) if classes.cost[a]]
            terms += [(o, float(classes.own_cost[c])) for c, o in self.o.items()]
        return linear(terms)

    def left_out(self, aim: Aim, counts: Counts) -> float:
        """Return the weight that ``counts`` leave out, of all sites or of those to be kept."""
        kept = self.classes.kept if aim == "unserved_kept" else True
        return float((counts.unserved * kept) @ self.classes.weight)

    def left_out_in_order(self, counts: Counts) -> tuple[float, float]:
        """Return the weight that ``counts`` leave out: of sites to be kept, which counts first, and of all."""
        return self.left_out("unserved_kept", counts), self.left_out("unserved_weight", counts)

    def fix_objective(self, aim: Aim, value: float) -> None:
        """Keep ``aim`` at ``value`` or below from here on (6)."""
        # Half a unit of slack on whole aims; money gets a relative allowance for solver tolerances.
        money = aim in ("cost", "own_cost")
        slack = 1e-7 * max(1.0, abs(value)) if money else 0.5
        self._add(self.expression(aim) <= value + slack, f"settled_{aim}")

    def at_least(self, aim: Aim, value: float) -> None:
        """Give the solver a lower bound that is known from elsewhere."""
        self._add(self.expression(aim) >= value - 1e-6 * max(1.0, abs(value)), f"bound_{aim}")

    def solve(self, aim: Aim, budget: SolveBudget) -> tuple[Outcome, Counts | None]:
        """Minimise ``aim``; the counts are None when no plan was found."""
        self.model.setObjective(self.expression(aim))
        return self._solve("weight" if aim.startswith("unserved") else aim, budget)

    def choose_arcs(self, cost: Floats, budget: SolveBudget) -> Counts | None:
        """Minimise the total of ``cost`` (A,) and keep it there for what follows; None when time ends before."""
        terms = [(f, float(c)) for f, c in zip(self.f, cost, strict=True) if c]
        self.model.setObjective(linear(terms))
        while True:
            _, counts = self._solve("later aims", budget)
            if counts is None:
                return None
            loose = unpacked(self.problem, self.classes, counts.hosts, counts.flow, budget)
            if not loose:
                break
            if budget.spent or loose <= self.packed:
                return None
            for p in loose - self.packed:
                self.pack_pool(p)
        self.chosen += 1
        value = float(cost @ counts.flow)
        self._add(linear(terms) <= value + 1e-6 * max(1.0, value), f"chosen{self.chosen}")
        return counts

    def _solve(self, stage: str, budget: SolveBudget) -> tuple[Outcome, Counts | None]:
        outcome = solve_model(self.model, budget, stage)
        return outcome, self._counts() if outcome.has_solution else None

    def _counts(self) -> Counts:
        def values(variables: Mapping[int, Any], size: int) -> Ints:
            found = np.zeros(size, dtype=np.int64)
            for position, x in variables.items():
                found[position] = round(x.value())
            return found

        flow = np.array([x.value() for x in self.f], dtype=np.float64)
        fixed = self.classes.fixed[self.classes.of_arc]
        return Counts(
            hosts=values(dict(enumerate(self.n)), self.problem.pools),
            flow=np.where(fixed, np.rint(flow), flow),
            unserved=values(self.z, self.classes.count),
            own=values(self.o, self.classes.count),
        )
