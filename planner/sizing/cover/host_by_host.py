"""The plan with cover host by host: exact whatever sites are kept together and losses overlap, for small fleets.

Sets and data as in `assignment.flow_model`; hosts j of pool p(j), R_j the clusters that j may carry during a loss
A unit of site i is the site, d_i = 1, or one of its d_i clusters where sites may be split; k_i clusters a unit
Variables, all whole
    r_j            0 or 1: host j runs
    x_ij, y_ijh    units of site i that live on host j; of these, host h stands by for
    u_ij           units of site i that live on host j and have no standby
    z_i, o_i       0 or 1: site i is unserved; uses its own tie-breaker
    b_i            0 or 1: a unit of site i has no standby, where it has several
Constraints
    (1) sum_j x_ij + d_i (z_i + o_i) = d_i
    (2) sum_i k_i x_ij <= C_j r_j,  r_j >= r_j' for the next host j' of the pool
    (3) sum_h y_ijh + u_ij = x_ij,  for hosts h that no loss hits together with j
    (4) sum_{i, j in l} k_i y_ijh + sum_i k_i x_ih <= R_h r_h  for every loss l and host h that it does not hit
    (5) sum_{i, j in l} b_li x_ij <= B_l for every limit l on a hub or zone, sum_i w_i x_ij <= W r_j for the weight on a
        host; both without loss, that is for homes only
    (6) sum_j u_l,p(j) r_j <= U_l for every limit l on hosts of several pools
    (7) sum_j u_ij <= d_i b_i
Aims in order: least weight unserved (before that of sites that are to be kept), least weight without standby, the
policy's objective.
"""

from __future__ import annotations

import numpy as np

from planner.arrays import as_floats, falses, indices, int_zeros, inverse, offsets, rounded, runs, totals
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.answer_by_host import HostByHost, name, units_placed
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.room_for_losses import CoveredHomes, add_room_for_losses
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.seating import Seat
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.model_builder import (
    Loads,
    ModelBuilder,
    Terms,
    add_place_limits,
    add_room,
    add_weight_on_hosts,
    loosened,
)

_MOST_VARIABLES = 6_000
_LITTLE = 1e-9  # of the objective


def solve_host_by_host(problem: Problem, losses: Losses, budget: SolveBudget) -> HostByHost | None:
    """Return the best plan; None where the model is too large, or time ends before there is a plan."""
    if standby_variables(problem, losses) > _MOST_VARIABLES:
        return None
    model = Model(problem, losses)
    for cost in model.missed():
        if cost.any():
            outcome, _ = model.solve(cost, budget)
            if outcome.state != "optimal":
                return None
            model.keep(cost, round(outcome.objective) + 0.5)
    objective = model.objective()
    outcome, x = model.solve(objective, budget)
    if not outcome.has_solution:
        return None
    if len(model.o):
        model.keep(objective, loosened(outcome.objective, _LITTLE))
        for cost in (model.cost(model.o, 1.0), model.cost(model.o, problem.own_cost[model.own_of])):
            least, with_least = model.solve(cost, budget)
            if not least.has_solution:
                break
            x = with_least
            model.keep(cost, loosened(least.objective, _LITTLE))
    return model.answer(outcome, x)


def standby_variables(problem: Problem, losses: Losses) -> int:
    """Return the number of variables y, from the pairs of pools of each site."""
    most = _numbers(problem)
    total = 0
    for s in range(problem.sites):
        mine = problem.pool[problem.pairs_of(s)]
        follows = losses.follows[np.ix_(mine, mine)]
        hosts = most[mine]
        total += int(hosts @ follows @ hosts)
    return total


def home_variables(problem: Problem) -> int:
    """Return the number of variables x."""
    return int(_numbers(problem)[problem.pool].sum())


def _numbers(problem: Problem) -> Ints:
    """Return how many hosts of each pool can be of use, shape (P,): no more than it has units."""
    of_pair = _units(problem)[problem.site]
    units = totals(problem.pool, of_pair, problem.pools)
    homes_and_standbys = 2 * units.astype(np.int64)
    return np.minimum(problem.max_hosts, homes_and_standbys)


def _units(problem: Problem) -> Ints:
    """Return d, shape (S,)."""
    return problem.clusters // problem.items


class Model:
    """The columns and rows, as they are numbered above.

    Of host j: ``pool``, ``number`` in it. Of x: ``pair`` (X,) and ``home`` (X,). Of y: ``lives`` (Y,), the x that it is
    part of, and ``standby`` (Y,). ``named`` (P,): as many hosts of each pool have a name, and run in any order.
    """

    def __init__(self, problem: Problem, losses: Losses, named: Ints | None = None) -> None:
        self.problem = problem
        self.losses = losses
        self.rows = ModelBuilder()
        from planner.sizing.solvers.pulp_models import PulpModel  # which takes longer to load than most plans

        self._model = PulpModel(self.rows)
        numbers = _numbers(problem)
        self.named = int_zeros(problem.pools) if named is None else named
        self.pool = np.repeat(np.arange(problem.pools), numbers)
        self.number = runs(int_zeros(problem.pools), numbers)
        first = offsets(numbers)[problem.pool]
        of_pair = numbers[problem.pool]
        self.pair = np.repeat(indices(of_pair), of_pair)
        self.home = runs(first, of_pair)
        self.site = problem.site[self.pair]
        self.lives, self.standby = self._standbys()
        self._add_columns()
        self._add_sites()
        self._add_hosts()
        self._add_losses()

    def _standbys(self) -> tuple[Ints, Ints]:
        """Return, for every y, the x of its home, and the host that stands by."""
        lives, standby = [], []
        for s in range(self.problem.sites):
            mine = np.flatnonzero(self.site == s)
            hosts = self.home[mine]
            pools = self.pool[hosts]
            follows = self.losses.follows[np.ix_(pools, pools)]
            np.fill_diagonal(follows, False)
            home, other = np.nonzero(follows)
            lives.append(mine[home])
            standby.append(hosts[other])
        nothing = int_zeros(0)
        of_home = np.concatenate([nothing, *lives])
        return of_home, np.concatenate([nothing, *standby])

    def _add_columns(self) -> None:
        block = self.rows.block
        self.own_of = np.flatnonzero(self.problem.may_own)
        self.units = _units(self.problem)
        self.several = np.flatnonzero(self.units > 1)
        each = as_floats(self.units[self.site])
        at_home = each * self.problem.homes[self.pair]
        self.r = block(len(self.pool), upper=1.0, whole=True)
        self.x = block(len(each), upper=at_home, whole=True)
        self.u = block(len(each), upper=each, whole=True)
        self.y = block(len(self.lives), upper=each[self.lives], whole=True)
        self.z = block(self.problem.sites, upper=1.0, whole=True)
        self.o = block(len(self.own_of), upper=1.0, whole=True)
        self.b = block(len(self.several), upper=1.0, whole=True)

    def _add_sites(self) -> None:
        """Add (1), (3) and (7)."""
        sites, units = self.problem.sites, as_floats(self.units)
        homes = indices(self.x)
        at_home: Terms = self.site, self.x, 1.0
        left_out: Terms = np.arange(sites), self.z, units
        own: Terms = self.own_of, self.o, units[self.own_of]
        self.rows.equal([at_home, left_out, own], sites, units)
        followed: Terms = self.lives, self.y, 1.0
        bare: Terms = homes, self.u, 1.0
        self.rows.define(self.x, [followed, bare])
        row = inverse(self.several, sites)[self.site]
        split = np.flatnonzero(row >= 0)
        lacking: Terms = row[split], self.u[split], 1.0
        allowed: Terms = indices(self.b), self.b, -units[self.several]
        self.rows.below([lacking, allowed], len(self.b))

    def _add_hosts(self) -> None:
        """Add (2), (5) and (6)."""
        problem, rows = self.problem, self.rows
        clusters = Loads(self.home, self.x, problem.items[self.site])
        add_room(rows, problem.caps[self.pool], self.r, [clusters])
        unnamed = self.number > self.named[self.pool]
        later = self.r[unnamed]
        rows.no_more(later, later - 1)
        for taken, most in zip(*problem.host_rows, strict=True):
            rows.at_most([(self.r, taken[self.pool])], most)
        pool = self.pool[self.home]
        amounts = {measure: each / self.units for measure, each in problem.amounts.items()}
        add_place_limits(rows, problem, pool, self.x, amounts, self.site)
        weights = Loads(self.home, self.x, problem.item_weight[self.site])
        add_weight_on_hosts(rows, problem.host_weight, self.r, weights)

    def _add_losses(self) -> None:
        """Add (4), for hosts that a loss can send somebody to."""
        room = self.losses.room[self.pool]
        clusters = self.problem.items[self.site]
        homes = Loads(self.home, self.x, clusters)
        send = Loads(self.standby, self.y, clusters[self.lives])
        standbys = CoveredHomes(self.home[self.lives], send)
        add_room_for_losses(self.rows, self._lost(), homes, standbys, self.r, room)

    def _lost(self) -> Bools:
        """Mark the hosts that each loss hits, shape (L, J)."""
        if self.losses.kind == "host":
            return np.eye(len(self.r), dtype=np.bool_)
        return self.losses.pools[:, self.pool]

    def cost(self, columns: Ints, each: Ints | Floats | float) -> Floats:
        """Return a cost of ``each`` for some ``columns``, 0 for all others, shape (columns of the model,)."""
        found = np.zeros(self.rows.columns)
        found[columns] = each
        return found

    def keep(self, cost: Floats, most: float) -> None:
        """Keep the total of ``cost`` at ``most`` from here on."""
        counted = np.flatnonzero(cost)
        if not len(counted):
            return
        self.rows.at_most([(counted, cost[counted])], most)

    def keep_number(self, columns: Ints, most: float) -> None:
        """Keep the sum of ``columns``, which is whole, at ``most`` from here on."""
        self.rows.at_most([(columns, 1.0)], most + 0.5)

    def solve(self, cost: Floats, budget: SolveBudget) -> tuple[Outcome, Floats]:
        """Return how making ``cost`` (columns,) small ended, and the values of the columns."""
        return self._model.solve(cost, budget, self.problem.objective)

    def missed(self) -> tuple[Floats, Floats, Floats]:
        """Return the weight that is unserved of sites that are to be kept, then of all, then that without standby."""
        weights = self.problem.weights
        kept = self.cost(self.z, weights * self.problem.kept)
        of_one_unit = np.where(self.units > 1, 0, weights)
        bare = self.cost(self.u, of_one_unit[self.site])
        bare[self.b] = weights[self.several]
        return kept, self.cost(self.z, weights), bare

    def objective(self) -> Floats:
        """Return the policy's objective, of new hosts with the fewest hosts among equals."""
        problem = self.problem
        if problem.objective == "hosts":
            return self.cost(self.r, 1.0)
        if problem.objective == "new_hosts":
            new = as_floats(self.number >= problem.existing[self.pool])
            little = 1.0 / (len(self.r) + 1)
            return self.cost(self.r, new + little)
        hosts = self.cost(self.r, problem.host_cost[self.pool])
        pairs = self.cost(self.x, problem.pair_cost[self.pair])
        own = self.cost(self.o, problem.own_cost[self.own_of])
        return hosts + pairs + own

    def answer(self, outcome: Outcome, x: Floats) -> HostByHost:
        """Read the values ``x`` of the columns.

        Hosts that carry nothing do not count, and the bound is that of the objective alone.
        """
        problem, chosen = self.problem, x > 0.5
        own = falses(problem.sites)
        own[self.own_of] = chosen[self.o]
        value, bound = outcome.objective, outcome.bound
        if problem.objective != "cost":
            value = float(np.floor(value + 1e-6))
            bound = max(0.0, float(np.floor(bound + 1e-6)))
        bound = value if outcome.state == "optimal" else min(value, bound)
        units, covered = rounded(x[self.x]), rounded(x[self.y])
        placed = units_placed(units, covered, self.lives, self.standby)
        seats = tuple(self._seat(at, number) for at, number, _ in placed)
        names = {host: self._name(host) for host in self.standby.tolist()}
        standbys = tuple(names.get(host) for *_, host in placed)
        return HostByHost(seats, standbys, chosen[self.z], own, value, bound, outcome.word)

    def _seat(self, at: int, units: int) -> Seat:
        """Return the seat of so many units of an x."""
        s = int(self.site[at])
        host = int(self.home[at])
        pair = int(self.pair[at])
        pool = int(self.pool[host])
        clusters = units * int(self.problem.items[s])
        return Seat(s, pair, pool, self._name(host), clusters)

    def _name(self, host: int) -> str:
        pool, number = int(self.pool[host]), int(self.number[host])
        return name(pool, number)
