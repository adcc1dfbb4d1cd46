"""Who lives where at least cost, among plans of as many hosts: a program over homes and standbys of single sites.

Sets and data as in `cover.primal_search.pool_relaxation`; sites s, with c_sp what the home of s in pool p costs,
w_s its weight, H the hosts of the plan at hand, and U the weight without standby there
Variables
    x_spq in [0, 1]    share of site s at home in pool p with standby in pool q, or with none
    o_s in [0, 1]      that has its own tie-breaker, where it may
    n_p whole, >= 0    hosts of pool p
Minimise sum c_sp x_spq, or what a plan costs with hosts and own tie-breakers, subject to
    (1) sum_pq x_spq + o_s = 1
    (2) sum_sq k_s x_spq <= C_p n_p
    (3) sum_sr k_s x_sqr + g_pq sum_s k_s x_spq <= R_q n_q, summed over the pools p of each loss; g = 1, and
        against the loss of a host 1 / N_p, 1 / (N_p - 1) where q = p, for at most N_p hosts in pool p
    (4) sum_p n_p <= H, where hosts are the objective
    (5) sum_s,p in i b_si x_spq <= B_i
    (6) sum w_s x_sp without standby <= U, over sites that can have one
Every plan that serves and covers as much with as many hosts is a point of it, so that its value is a bound. With the
hosts that run for N_p it is none, but its shares are nearer to a plan. Average (4) of `pool_relaxation` over all
ordered pairs of a host that is lost and one that stays to have (3).
"""

from __future__ import annotations

import dataclasses

import numpy as np

from planner.arrays import falses, rounded
from planner.fleet import Floats, Ints
from planner.sizing.cover.home_choices import HomeChoices
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.room_for_losses import CoveredHomes, add_room_for_losses
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import LinearProgram, solve_arrays
from planner.sizing.solvers.model_builder import Loads, ModelBuilder, Terms, add_place_limits, add_room, loosened

_TIGHT = 1e-7
_PART = 0.02  # of the value: a gap that ends the search for whole host counts


class HomeProgram:
    """The program of one plan: ``most_hosts`` is H or None, ``running`` (P,) N, ``uncovered`` U.

    ``x`` (X,), ``o`` and ``n`` (P,) are its columns, o of the sites ``own_of``. ``prices`` (columns,): what these cost
    on top of the cost of homes, nothing at first.
    """

    def __init__(
        self, ground: Ground, choices: HomeChoices, most_hosts: int | None, running: Ints, uncovered: float
    ) -> None:
        self.ground = ground
        self.choices = choices
        self.running = running
        self.most_hosts, self.uncovered = most_hosts, uncovered
        self.kept: list[tuple[Floats, float]] = []
        self.model = ModelBuilder()
        self.x = self.model.block(len(choices.site), upper=1.0)
        may_own = np.flatnonzero(ground.problem.may_own)
        self.own_of = np.intersect1d(choices.site, may_own)
        self.o = self.model.block(len(self.own_of), upper=1.0)
        most = ground.problem.max_hosts
        self.n = self.model.block(len(most), upper=most)
        self._sites_and_pools()
        self._losses()
        self._as_good()
        self.prices = np.zeros(self.model.columns)

    def price(self) -> None:
        """Let hosts and own tie-breakers cost what the policy says."""
        problem = self.ground.problem
        may_run = problem.max_hosts > 0
        self.prices[self.n] = np.where(may_run, problem.host_cost, 0.0)
        self.prices[self.o] = problem.own_cost[self.own_of]

    def keep(self, cost: Floats, most: float) -> None:
        """Let no later answer cost more than ``most`` by ``cost`` (E,)."""
        self.kept.append((cost, most))
        of_columns = cost[self.choices.pair]
        self.model.at_most([(self.x, of_columns)], loosened(most))

    def near(self, running: Ints) -> HomeProgram:
        """Return the program near plans in which the hosts ``running`` (P,) run, with all that is kept.

        It is another one only against the loss of a host, where what a loss brings hangs on how many there are.
        """
        if not self.ground.by_host:
            return self
        other = HomeProgram(self.ground, self.choices, self.most_hosts, running, self.uncovered)
        for cost, most in self.kept:
            other.keep(cost, most)
        return other

    def least(self, cost: Floats, budget: SolveBudget) -> float | None:
        """Return the least total ``cost`` (E,) when hosts may be divided; None where time ends before."""
        outcome = solve_arrays(self._program(cost), budget).outcome
        return float(outcome.objective) if outcome.state == "optimal" else None

    def counts(self, cost: Floats, budget: SolveBudget, gap: float = _PART) -> tuple[Ints | None, float]:
        """Return whole hosts (P,) of low total ``cost`` (E,), None where none are found, and a bound on the cost."""
        whole = falses(self.model.columns)
        whole[self.n] = True
        program = dataclasses.replace(self._program(cost), whole=whole)
        answer = solve_arrays(program, budget, gap=gap)
        hosts = rounded(answer.x[self.n]) if answer.outcome.has_solution else None
        return hosts, answer.outcome.bound

    def shares(self, hosts: Ints, cost: Floats, budget: SolveBudget) -> Floats | None:
        """Return the shares (X,) of least total ``cost`` (E,) with ``hosts`` (P,); None where there are none."""
        program = self._program(cost).fixed(self.n, hosts)
        answer = solve_arrays(program, budget)
        return answer.x[self.x] if answer.outcome.has_solution else None

    def _program(self, cost: Floats) -> LinearProgram:
        of_columns = self.prices.copy()
        of_columns[self.x] += cost[self.choices.pair]
        return self.model.program(of_columns)

    def _sites_and_pools(self) -> None:
        """Add (1), (2) and (5)."""
        problem = self.ground.problem
        choices = self.choices
        model = self.model
        sites, row = np.unique(choices.site, return_inverse=True)
        own_row = np.searchsorted(sites, self.own_of)
        shared: Terms = row, self.x, 1.0
        own: Terms = own_row, self.o, 1.0
        model.equal([shared, own], len(sites), 1.0)
        self.clusters = problem.clusters[choices.site]
        self.homes = Loads(choices.home, self.x, self.clusters)
        add_room(model, problem.caps, self.n, [self.homes])
        add_place_limits(model, problem, choices.home, self.x, problem.amounts, choices.site)

    def _losses(self) -> None:
        """Add (3)."""
        ground, choices = self.ground, self.choices
        followed = np.flatnonzero(choices.standby >= 0)
        home = choices.home[followed]
        standby = choices.standby[followed]
        same = home == standby
        others = np.maximum(1, self.running[home] - same)
        brought = self.clusters[followed] / (others if ground.by_host else 1)
        send = Loads(standby, self.x[followed], brought)
        covered = CoveredHomes(home, send)
        lost = ground.losses.pools
        add_room_for_losses(self.model, lost, self.homes, covered, self.n, ground.room)

    def _as_good(self) -> None:
        """Add (4) and (6)."""
        choices = self.choices
        if self.most_hosts is not None:
            self.model.at_most([(self.n, 1.0)], self.most_hosts)
        bare = choices.standby < 0
        could = self.ground.coverable[choices.site]
        alone = np.flatnonzero(bare & could)
        if len(alone) and not bare.all():
            weight = self.ground.problem.weights[choices.site[alone]]
            living = self.x[alone]
            self.model.at_most([(living, weight)], self.uncovered + _TIGHT)
