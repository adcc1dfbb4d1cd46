"""Plans at cheap host counts: counts that divisible sites could live on come first, then they are made whole."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from planner.fleet import Bools, Ints
from planner.sizing.cover.host_loss_bound import HostLossBound
from planner.sizing.cover.primal_search.exact_repair import exact_repair
from planner.sizing.cover.primal_search.neighbourhoods import Neighbourhoods
from planner.sizing.cover.primal_search.polish import with_own_inside
from planner.sizing.cover.primal_search.pool_counts import cheaper_counts, dived_counts
from planner.sizing.cover.primal_search.pool_relaxation import PoolProgram
from planner.sizing.cover.primal_search.repair import force_in, repair
from planner.sizing.cover.primal_search.rounding import rounded
from planner.sizing.cover.primal_search.state import NOWHERE, State
from planner.sizing.solution.prices import Prices
from planner.sizing.solvers.budget import SolveBudget

# Clusters that each host keeps free, so that kept-together sites find room near shares: in dives, then in drops.
_RELAXED = (1.5, 0.5)
_ROUNDS = (1.5, 1.0, 0.5)
# Against the loss of a host single hosts are dropped as long as that is easy, since neighbourhoods find more.
_HOST_SLACK = 0.5
_EASY = 6  # drops in vain
_NEAR_SLACK = 0.25
_FOR_PLANS = 0.7  # of the time, where the bound has to wait
_NEAR_FIRST = 40  # neighbourhoods in vain, after which it need not wait longer
# Bound and neighbourhoods take turns: steps of the simplex method, and neighbourhoods in vain.
_TURNS = ((20_000, 40), (60_000, 40), (120_000, 60))
_MORE_SLACK = (0.0, 0.5, 1.0, 2.0)  # for the shares that sites are put near
_FEW_STEPS = 600  # of repair, for each of several plans at the same counts
_LITTLE = 3.0  # clusters too many on hosts, which exact repair is likely to mend
_FOR_REPAIR = 0.25  # of the time that is left
_MUCH = 15.0  # clusters too many, which it hardly mends
_IN_VAIN = 16  # attempts of exact repair
_ROUNDED = 3  # counts that are made whole, the cheapest first
_CLOSE = 1e-9


class PlansFromCounts:
    """The search from a plan ``state``; ``bare`` (S,) marks sites that may do without a standby."""

    def __init__(
        self, state: State, bare: Bools, prices: Prices, rng: np.random.Generator, budget: SolveBudget
    ) -> None:
        self.problem = state.ground.problem
        self.bare, self.prices, self.rng, self.budget = bare, prices, rng, budget
        self.program = PoolProgram(state.ground, ~self.problem.may_own, budget.seed)
        self.kept = bool(self.program.classes.multi_cluster.any())
        self.hosts = state.count()  # of the cheapest plan so far

    def against_hubs_and_zones(self) -> Iterator[State]:
        """Yield plans of which each is cheaper than the one before."""
        for slack in _RELAXED if self.kept else (0.0,):
            yield from self._dived(slack)
        for slack in _ROUNDS if self.kept else (0.0,):
            yield from self._dropped(slack)

    def against_a_host(self, known: HostLossBound) -> Iterator[State]:
        """Yield plans of which each is cheaper than the one before; what is ``known`` of all plans grows."""
        slack = _HOST_SLACK if self.kept else 0.0
        yield from self._dived(slack)
        if self.program.whole:
            yield from self._dropped(slack, _EASY)
        else:  # single solves take long, and conditions help less than they take
            yield from self._near(known, _NEAR_FIRST, self.budget.part(_FOR_PLANS))
        for steps, in_vain in _TURNS:
            known.sharpen(self.program, self.hosts, steps, self.budget)
            yield from self._near(known, in_vain, self.budget)

    def _dived(self, slack: float) -> Iterator[State]:
        """Yield a plan at the counts of a dive, if it is cheaper."""
        self.program.slack = slack
        hosts = dived_counts(self.program, self.hosts, self.prices, self.budget)
        if hosts is not None:
            yield from self._cheapest_of([hosts])

    def _dropped(self, slack: float, drops: int | None = None) -> Iterator[State]:
        """Yield a plan at counts with fewer hosts, if there is one."""
        self.program.slack = slack
        cheapest_last = [*cheaper_counts(self.program, self.hosts, self.prices, drops, self.budget)]
        yield from self._cheapest_of(cheapest_last[: -_ROUNDED - 1 : -1])

    def _cheapest_of(self, counts: list[Ints]) -> Iterator[State]:
        """Yield a plan at the first of the ``counts`` (P,) that is cheaper than the last plan and can be made whole."""
        least = self.prices.total(self.hosts)
        for hosts in counts:
            cheaper = self.prices.total(hosts) < least - _CLOSE
            if not cheaper or not self.problem.may_run(hosts):
                continue
            plan = self.plan_at(hosts, self.budget)
            if plan is not None:
                yield plan
                return

    def _near(self, known: HostLossBound, most: int, budget: SolveBudget) -> Iterator[State]:
        """Yield plans at cheaper counts near the last, until ``most`` neighbourhoods were looked at in vain."""
        self.program.slack = _NEAR_SLACK if self.kept else 0.0
        near = Neighbourhoods(self.program, self.prices, known.conditions, known.step)
        in_vain = 0
        while in_vain < most and not known.reached(self.hosts) and not budget.spent:
            hosts = near.cheaper(self.hosts, in_vain, self.rng, budget)
            in_vain += 1
            plan = None if hosts is None else self.plan_at(hosts, budget)
            if plan is not None:
                in_vain = 0
                yield plan

    def plan_at(self, hosts: Ints, budget: SolveBudget) -> State | None:
        """Return a plan with ``hosts`` (P,) near shares that keep some slack, or more; None where none is found.

        All shares get a few steps of repair, the least broken plan is repaired exactly.
        """
        program = self.program
        slack = program.slack
        trials: list[State] = []
        for more in _MORE_SLACK if slack else (0.0,):
            program.slack = slack + more
            shares = program.solve(hosts, budget)
            trial = None if shares is None else rounded(program, hosts, shares, self.bare)
            if trial is None:
                continue
            repair(trial, self.bare, _FEW_STEPS, self.rng, budget)
            trials.append(trial)
            if trial.violation() <= _LITTLE:
                break
        program.slack = slack
        return self._made_whole(min(trials, key=State.violation), budget) if trials else None

    def plan_near(self, state: State, budget: SolveBudget) -> State | None:
        """Return a plan near ``state``, in which sites may lack a standby; None where none is found."""
        alone = (state.home != NOWHERE) & (state.standby == NOWHERE) & ~self.bare
        lacking = np.flatnonzero(alone)
        for s in lacking.tolist():
            state.take_out(s)
        if not force_in(state, lacking, self.bare):
            return None
        repair(state, self.bare, _FEW_STEPS, self.rng, budget)
        return self._made_whole(state, budget)

    def _made_whole(self, least_broken: State, budget: SolveBudget) -> State | None:
        """Return a plan by exact repair, or None; where much is broken, it is not tried."""
        if least_broken.violation() > _MUCH:
            return None
        best = exact_repair(least_broken, self.bare, _IN_VAIN, self.rng, budget.part(_FOR_REPAIR))
        if best.violation() > _CLOSE:
            return None
        plan = with_own_inside(best, self.bare)
        self.hosts = best.count()
        return plan
