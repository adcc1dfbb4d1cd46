"""The plan with cover host by host: exact whatever sites are kept together and losses overlap, for small fleets.

Sets and data as in `assignment.flow_model`; hosts j of pool p(j), R_j the clusters that j may carry during a loss
Variables, all 0 or 1
    r_j            host j runs
    x_ij, y_ijh    site i lives on host j; and host h stands by for it
    u_ij           site i lives on host j and has no standby
    z_i, o_i       site i is unserved; uses its own tie-breaker
Constraints
    (1) sum_j x_ij + z_i + o_i = 1
    (2) sum_i k_i x_ij <= C_j r_j,  r_j >= r_j' for the next host j' of the pool
    (3) sum_h y_ijh + u_ij = x_ij,  for hosts h that no loss hits together with j
    (4) sum_{i, j in l} k_i y_ijh + sum_i k_i x_ih <= R_h r_h  for every loss l and host h that it does not hit
    (5) sum_{i, j in l} b_li x_ij <= B_l for every limit l on a hub or zone, sum_i w_i x_ij <= W r_j for the weight on a
        host; both without loss, that is for homes only
    (6) sum_j u_l,p(j) r_j <= U_l for every limit l on hosts of several pools
Aims in order: least weight unserved (before that of sites that are to be kept), least weight without standby, the
policy's objective.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
import pulp

from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.seating import Seat
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.pulp_models import linear, solve_model

_MOST_VARIABLES = 6_000
_LITTLE = 1e-9  # of the objective


@dataclass(frozen=True)
class HostByHost:
    """An answer: seats (hosts are named by pool and number), the standby of each, who is left out, value and bound."""

    seats: tuple[Seat, ...]
    standbys: tuple[str | None, ...]
    unserved: Bools
    own: Bools
    value: float
    bound: float
    word: str


def name(p: int, number: int) -> str:
    """Return the working name of a host: pool and number, both from 0."""
    return f"{p}/{number}"


def solve_host_by_host(problem: Problem, losses: Losses, budget: SolveBudget) -> HostByHost | None:
    """Return the best plan; None where the model is too large, or time ends before there is a plan."""
    if _size(problem, losses) > _MOST_VARIABLES:
        return None
    model = _Model(problem, losses)
    outcome = Outcome("unsolved", "")
    for aim, slack in (
        (model.unserved_kept, 0.5),
        (model.unserved, 0.5),
        (model.uncovered, 0.5),
        (model.objective, None),
    ):
        if not aim:
            continue
        model.lp.setObjective(linear(aim))
        outcome = solve_model(model.lp, budget, problem.objective)
        if not outcome.has_solution or (slack is not None and outcome.state != "optimal"):
            return None
        if slack is not None:
            model.add(linear(aim) <= round(outcome.objective) + slack)
    found = model.answer(outcome)
    if not model.o:
        return found
    model.add(linear(model.objective) <= outcome.objective + _LITTLE * max(1.0, abs(outcome.objective)))
    model.lp.setObjective(linear([(o, 1.0) for o in model.o.values()]))
    return model.answer(outcome) if solve_model(model.lp, budget, problem.objective).has_solution else found


def _size(problem: Problem, losses: Losses) -> int:
    """Return the number of variables y, from the pairs of pools of each site."""
    most = _numbers(problem)
    total = 0
    for s in range(problem.sites):
        mine = problem.pool[problem.indptr[s] : problem.indptr[s + 1]]
        total += int(most[mine] @ losses.follows[np.ix_(mine, mine)] @ most[mine])
    return total


def _numbers(problem: Problem) -> Ints:
    """Return how many hosts of each pool can be of use, shape (P,): no more than it has sites."""
    return np.minimum(problem.max_hosts, np.bincount(problem.pool, minlength=problem.pools) * 2)


class _Model:
    def __init__(self, problem: Problem, losses: Losses) -> None:
        self.problem, self.losses = problem, losses
        self.lp = pulp.LpProblem("host_by_host", pulp.LpMinimize)
        self.rows = 0
        self.hosts = [(p, h) for p, most in enumerate(_numbers(problem)) for h in range(int(most))]
        self.r = {j: self._binary() for j in self.hosts}
        self.x: dict[tuple[int, tuple[int, int]], Any] = {}
        self.y: dict[tuple[int, tuple[int, int], tuple[int, int]], Any] = {}
        self.u: dict[tuple[int, tuple[int, int]], Any] = {}
        self.pair: dict[tuple[int, int], int] = {}
        self.z = [self._binary() for _ in range(problem.sites)]
        self.o = {s: self._binary() for s in np.flatnonzero(np.isfinite(problem.own_cost)).tolist()}
        self._add_sites()
        self._add_hosts()
        self._add_losses()

    def _binary(self) -> Any:
        self.rows += 1
        return self.lp.add_variable(f"v{self.rows}", 0, 1, cat="Integer")

    def add(self, row: Any) -> None:
        self.rows += 1
        self.lp.addConstraint(row, name=f"row{self.rows}")

    def _add_sites(self) -> None:
        problem = self.problem
        for s in range(problem.sites):
            pairs = range(problem.indptr[s], problem.indptr[s + 1])
            self.pair |= {(s, int(problem.pool[e])): e for e in pairs}
            mine = [j for j in self.hosts if (s, j[0]) in self.pair]
            for j in mine:
                self.x[s, j] = self._binary()
                self.u[s, j] = self._binary()
                for h in mine:
                    if h != j and self.losses.follows[j[0], h[0]]:
                        self.y[s, j, h] = self._binary()
                standbys = [(self.y[s, j, h], 1) for h in mine if (s, j, h) in self.y]
                self.add(linear([*standbys, (self.u[s, j], 1), (self.x[s, j], -1)]) == 0)
            elsewhere = [(self.z[s], 1), *([(self.o[s], 1)] if s in self.o else [])]
            self.add(linear([*((self.x[s, j], 1) for j in mine), *elsewhere]) == 1)

    def _add_hosts(self) -> None:
        problem = self.problem
        load: dict[tuple[int, int], list[tuple[Any, float]]] = defaultdict(list)
        for (s, j), x in self.x.items():
            load[j].append((x, int(problem.clusters[s])))
        self.load = load
        for p, h in self.hosts:
            self.add(linear([*load[p, h], (self.r[p, h], -int(problem.caps[p]))]) <= 0)
            if h:
                self.add(linear([(self.r[p, h], 1), (self.r[p, h - 1], -1)]) <= 0)
        for shared in problem.host_limits:
            each_of = dict(zip(shared.pools.tolist(), shared.each.tolist(), strict=True))
            self.add(linear([(r, each_of[p]) for (p, _), r in self.r.items() if p in each_of]) <= shared.most)
        for limit in problem.limits:
            each = problem.amounts[limit.measure]
            terms = [(x, float(each[s])) for (s, j), x in self.x.items() if limit.pools[j[0]]]
            if terms:
                self.add(linear(terms) <= limit.most)
        if problem.host_weight is not None:
            weight: dict[tuple[int, int], list[tuple[Any, float]]] = defaultdict(list)
            for (s, j), x in self.x.items():
                weight[j].append((x, float(problem.weights[s])))
            for j, on_host in weight.items():
                self.add(linear([*on_host, (self.r[j], -problem.host_weight)]) <= 0)

    def _add_losses(self) -> None:
        room = self.losses.room
        if self.losses.kind == "host":
            groups = [[j] for j in self.hosts]
        else:
            groups = [[j for j in self.hosts if hit[j[0]]] for hit in self.losses.pools]
        sent: dict[tuple[tuple[int, int], tuple[int, int]], list[tuple[Any, float]]] = defaultdict(list)
        for (s, j, h), y in self.y.items():
            sent[j, h].append((y, int(self.problem.clusters[s])))
        for lost in groups:
            for h in self.hosts:
                arriving = [term for j in lost for term in sent[j, h]]
                if h not in lost and arriving:
                    self.add(linear([*arriving, *self.load[h], (self.r[h], -int(room[h[0]]))]) <= 0)

    @property
    def unserved_kept(self) -> list[tuple[Any, float]]:
        return [term for term, kept in zip(self.unserved, self.problem.kept, strict=True) if kept]

    @property
    def unserved(self) -> list[tuple[Any, float]]:
        return [(z, int(w)) for z, w in zip(self.z, self.problem.weights, strict=True)]

    @property
    def uncovered(self) -> list[tuple[Any, float]]:
        return [(u, int(self.problem.weights[s])) for (s, _), u in self.u.items()]

    @property
    def objective(self) -> list[tuple[Any, float]]:
        problem = self.problem
        if problem.objective == "hosts":
            return [(r, 1) for r in self.r.values()]
        if problem.objective == "new_hosts":
            tie = 1.0 / (len(self.hosts) + 1)  # fewest hosts among equals
            return [(r, float(h >= problem.existing[p]) + tie) for (p, h), r in self.r.items()]
        hosts = [(r, float(problem.host_cost[p])) for (p, _), r in self.r.items()]
        pairs = [(x, float(problem.pair_cost[self.pair[s, j[0]]])) for (s, j), x in self.x.items()]
        return [*hosts, *pairs, *((o, float(problem.own_cost[s])) for s, o in self.o.items())]

    def answer(self, outcome: Outcome) -> HostByHost:
        """Read the solution; hosts that carry nothing do not count, and the bound is that of the objective alone."""
        homes = {s: j for (s, j), x in self.x.items() if x.value() > 0.5}
        standby = {s: name(*h) for (s, _, h), y in self.y.items() if y.value() > 0.5}
        seats = tuple(
            Seat(s, self.pair[s, p], p, name(p, h), int(self.problem.clusters[s])) for s, (p, h) in homes.items()
        )
        value, bound = outcome.objective, outcome.bound
        if self.problem.objective != "cost":
            value, bound = float(np.floor(value + 1e-6)), float(max(0.0, np.floor(bound + 1e-6)))
        return HostByHost(
            seats=seats,
            standbys=tuple(standby.get(seat.site) for seat in seats),
            unserved=_marks(z.value() for z in self.z),
            own=_marks(self.o[s].value() if s in self.o else 0.0 for s in range(self.problem.sites)),
            value=value,
            bound=value if outcome.state == "optimal" else min(value, bound),
            word=outcome.word,
        )


def _marks(values: Any) -> Bools:
    found: Floats = np.array(list(values), dtype=np.float64)
    return found > 0.5
