"""What is known of host counts that survive the loss of any one host: conditions, and a bound that is raised."""

from __future__ import annotations

import numpy as np

from planner.arrays import falses, int_zeros
from planner.fleet import Ints
from planner.sizing.cover.host_levels import Conditions, LevelProgram, Window
from planner.sizing.cover.host_loss_branch_and_bound import LevelBound
from planner.sizing.cover.host_loss_cuts import force_hosts
from planner.sizing.cover.loss_conditions import loss_conditions
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.pool_relaxation import PoolProgram
from planner.sizing.host_counts.certificate import Forcing, Inequality, inequalities
from planner.sizing.host_counts.cutting_planes import search_counts
from planner.sizing.host_counts.fewest_hosts import counts_decide
from planner.sizing.host_counts.hall_conditions import HallCondition, hall_conditions
from planner.sizing.host_counts.reference_counts import reference_counts
from planner.sizing.instance.classes import group
from planner.sizing.solution.prices import Prices, prices_of
from planner.sizing.solvers.budget import SolveBudget

_FIRST_SECONDS = 3.0  # for a first bound; better plans are looked for before there is a better one
_SETS_SECONDS = 20.0  # for sets that force hosts
_FOR_SETS = 0.2  # of the time that is left, where there are levels to search
_EPS = 1e-9
_LEAST_PART = 1e-3  # of the price of a host: what is cheaper by less is not looked for


class HostLossBound:
    """What is known of plans that serve and cover everybody who can be.

    ``bound`` is on the policy's objective, and ``forcing`` are sets that force it, or nearly; ``conditions`` are those
    on host counts that mattered.
    """

    def __init__(self, ground: Ground, prices: Prices, budget: SolveBudget) -> None:
        self.problem = ground.problem
        self.bound = 0.0
        self._levels: LevelBound | None = None
        self._looked_for_sets = False
        self.forcing: Forcing | None = None
        self._asked: list[HallCondition] = []
        self._rows: list[Inequality] = []
        self._known = Conditions.of((), self.problem.pools)
        self._classes = group(self.problem, by_weight=False)
        if counts_decide(self.problem):
            plain = hall_conditions(self.problem, self._classes.of_the_day)
            self._of_loss = loss_conditions(self.problem, self._classes, ground.losses, len(plain))
            self._asked = [*plain, *self._of_loss]
        self._ended = not self._asked
        self._search_counts(budget.within(_FIRST_SECONDS))
        self.conditions = self._known.some(int_zeros(0))
        whole = self.problem.objective == "hosts"
        self.step = 1.0 if whole else _LEAST_PART * float(prices.further.max(initial=0.0))

    def _search_counts(self, budget: SolveBudget) -> None:
        """Raise the bound by a search over host counts, and keep the conditions that it met; not when that is done."""
        if self._ended:
            return
        problem = self.problem
        nothing = falses(len(problem.pool))
        reference = reference_counts(problem, nothing)
        search = search_counts(problem, self._classes.of_the_day, budget, reference, self._of_loss)
        if np.isfinite(search.bound):
            self.bound = max(self.bound, search.objective_bound)
        self._rows = [row for cut in search.cuts for row in inequalities(cut)]
        self._known = Conditions.of(self._rows, problem.pools)
        self._ended = not budget.spent

    def reached(self, hosts: Ints) -> bool:
        """Say whether ``hosts`` (P,) cost no more than the bound, so that nothing cheaper is left to be found."""
        return prices_of(self.problem).total(hosts) <= self.bound + _EPS

    def sharpen(self, program: PoolProgram, hosts: Ints, most_steps: int, budget: SolveBudget) -> None:
        """Raise the bound as far as ``hosts`` (P,), which have room for everybody, leave it open.

        Goes on where it ended before; ``most_steps`` are those of the simplex method. In a program that is too large to
        have all choices as columns only sets of sites are looked for.
        """
        problem = self.problem
        prices = prices_of(problem)
        value = prices.total(hosts)
        if not self._looked_for_sets:
            self._look_for_sets(value, budget.part(_FOR_SETS) if program.whole else budget)
        if not program.whole or problem.may_own.any() or self.bound >= value:
            return
        if self._levels is None:
            window = Window(int_zeros(problem.pools), problem.max_hosts.astype(np.int64))
            levels = LevelProgram(program, prices, window)
            self._levels = LevelBound(levels, self._known, value, whole=problem.objective != "cost")
        self._levels.look_below(value)
        self._levels.search(most_steps, budget)
        self.bound = max(self.bound, self._levels.bound)
        self.conditions = self._levels.used

    def _look_for_sets(self, value: float, budget: SolveBudget) -> None:
        """Raise the bound by sets of sites that force hosts, at most to ``value``."""
        self._looked_for_sets = True
        self._search_counts(budget)
        if self.bound >= value or not self._asked:
            return
        for_sets = budget.within(_SETS_SECONDS)
        forcing = force_hosts(self.problem, self._asked, self._rows, value, for_sets)
        if forcing.bound >= self.bound:
            self.bound, self.forcing = forcing.bound, forcing
            self._known = Conditions.of(forcing.rows, self.problem.pools)
