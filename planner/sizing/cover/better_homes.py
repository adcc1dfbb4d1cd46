"""Homes nearer to what the later aims want, among plans with cover of as many hosts, and bounds on these aims."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.home_program import Choices, HomeProgram, choices_of
from planner.sizing.cover.primal_search.drafts import draft_of
from planner.sizing.cover.primal_search.polish import settled_by_cost, weighed
from planner.sizing.cover.primal_search.repair import repair
from planner.sizing.cover.primal_search.rounding import Wishes, dealt
from planner.sizing.cover.primal_search.state import Ground
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.solution.aims import PairAim, aim_of
from planner.sizing.solution.draft import Draft
from planner.sizing.solvers.budget import SolveBudget

_SECONDS = 20.0
_STEPS = 2_000  # of repair


@dataclass
class BetterHomes:
    """Looks for better homes than those of ``draft``; ``bounds`` hold for all plans that serve and cover as much."""

    case: Case
    ground: Ground
    draft: Draft
    budget: SolveBudget
    bounds: dict[TieBreak, float] = field(default_factory=dict)
    _kept: list[tuple[Floats, float]] = field(default_factory=list)

    def improve(self, offer: Callable[[Draft], Draft]) -> Mapping[TieBreak, float]:
        """Offer drafts, each of which answers with the best so far; return the bounds."""
        incumbent = self.case.incumbent
        aims = [aim for aim in map(aim_of, self.case.tie_breaks) if isinstance(aim, PairAim)]
        wanted = [aim for aim in aims if aim.applies(incumbent)]
        if not wanted or self.draft.placement.unserved.any():
            return self.bounds
        budget = self.budget.within(_SECONDS)
        costs = [aim.cost(self.case.problem, incumbent).values for aim in wanted]
        all_plans = self._program(None)
        for aim, cost in zip(wanted, costs, strict=True):
            least = all_plans.least(cost, budget)
            if least is None:
                break
            hosts, bound = all_plans.counts(cost, budget.within((budget.left or 0.0) / 2))
            self.bounds[aim.name] = max(least, bound)
            for running in (self.draft.sized.counts.hosts, hosts):
                if running is None or not self.case.problem.may_run(running):
                    continue
                trial = self._carried_out(running, (cost, weighed(costs)), budget)
                self.draft = offer(trial) if trial is not None else self.draft
            self._kept.append((cost, aim.reached(self.case, self.draft.placement, self.draft.seating)))
            all_plans.keep(*self._kept[-1])
        return self.bounds

    def _program(self, running: Ints | None) -> HomeProgram:
        """Return the program near plans in which the hosts ``running`` (P,) run; None: the one that all plans meet."""
        problem, hosts = self.case.problem, self.draft.sized.counts.hosts
        short = self._bare() & self.ground.coverable
        choices = choices_of(self.ground, ~np.isfinite(problem.own_cost), bare=bool(short.any()))
        total = int(hosts.sum()) if problem.objective == "hosts" else None
        most = problem.max_hosts if total is None else np.minimum(problem.max_hosts, total)
        weight = float(problem.weights[short].sum())
        program = HomeProgram(self.ground, choices, total, most if running is None else running, weight)
        for cost, value in self._kept:
            program.keep(cost, value)
        return program

    def _bare(self) -> Bools:
        """Return the sites on shared hosts that have no standby, shape (S,)."""
        bare = ~self.ground.coverable
        for seat, standby in zip(self.draft.seating.seats, self.draft.standbys, strict=True):
            bare[seat.site] |= standby is None
        return bare

    def _carried_out(self, hosts: Ints, costs: tuple[Floats, Floats], budget: SolveBudget) -> Draft | None:
        """Return a draft with ``hosts`` (P,); None where none is found.

        Homes are of low cost by the first of ``costs`` (E,), then bettered by the second.
        """
        program = self._program(hosts)
        choices = program.choices
        if not (choices.standby >= 0).any():
            return None
        shares = program.shares(hosts, costs[0], budget)
        bare = self._bare()
        state = None if shares is None else dealt(self.ground, hosts, _greatest_shares(choices, shares), bare)
        if state is None or not repair(state, bare, _STEPS, np.random.default_rng(budget.seed), budget):
            return None
        return draft_of(self.case, settled_by_cost(state, bare, costs[1], budget))


def _greatest_shares(choices: Choices, flow: Floats) -> Wishes:
    """Return the choice with the greatest share of each site."""
    ranked = np.lexsort((-flow, choices.site))
    sites, first = np.unique(choices.site[ranked], return_index=True)
    chosen: Ints = ranked[first]
    return Wishes(sites, choices.home[chosen], choices.standby[chosen])
