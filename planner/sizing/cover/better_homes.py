"""Homes nearer to what the later aims want, among plans with cover of as many hosts, and bounds on these aims."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from planner.arrays import as_floats, positions, rounded, totals, trues
from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.fewest_moves import FewestMoves
from planner.sizing.cover.home_choices import HomeChoices, choices_of
from planner.sizing.cover.home_program import HomeProgram
from planner.sizing.cover.primal_search.drafts import draft_of, nearer_today, state_of
from planner.sizing.cover.primal_search.ground import Ground
from planner.sizing.cover.primal_search.polish import HomeCost, settled_by_cost, weighed
from planner.sizing.cover.primal_search.repair import repair
from planner.sizing.cover.primal_search.rounding import Wishes, dealt
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.solution.aims import Aim, Margin, Moves, PairAim, Spread, aim_of
from planner.sizing.solution.draft import Draft
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.tie_breaks.stay_program import Kept

_SECONDS = 20.0
_STEPS = 2_000  # of repair
_MARGINS = 4  # smallest margins that are tried
_NOBODY = 1e-6
_SHARED = 0.5  # of a site on shared hosts, from which on it goes there and not to its own tie-breaker


@dataclass
class BetterHomes:
    """Looks for better homes than those of ``draft``; ``bounds`` hold for all plans that serve and cover as much."""

    case: Case
    ground: Ground
    draft: Draft
    budget: SolveBudget
    bounds: dict[TieBreak, float] = field(default_factory=dict)

    def improve(self, offer: Callable[[Draft], Draft]) -> Mapping[TieBreak, float]:
        """Offer drafts, each of which answers with the best so far; return the bounds."""
        aims = [aim_of(name) for name in self.case.tie_breaks]
        if aims and isinstance(aims[0], Spread):
            self._even(aims[0], offer)
        sought = [aim for aim in aims if isinstance(aim, (PairAim, Margin))]
        wanted = [aim for aim in sought if aim.applies(self.case.incumbent)]
        if not wanted or not self.draft.seating.seats:
            return self.bounds
        if self.draft.placement.unserved.any():  # the program of all plans serves everybody
            if isinstance(wanted[0], Moves):
                self._move_fewest((), offer)
            return self.bounds
        budget = self.budget.within(_SECONDS)
        all_plans = self._all_plans()
        for aim in wanted:
            if isinstance(aim, Moves):
                known = self._move_fewest(all_plans.kept, offer)
                budget = self.budget.within(_SECONDS)
                if known:  # which says nothing of the aims after it
                    self._move_back(offer, budget)
                else:
                    known = self._cheapen(aim, all_plans, offer, budget)
            elif isinstance(aim, PairAim):
                known = self._cheapen(aim, all_plans, offer, budget)
            else:
                known = self._widen(aim, all_plans, offer, budget)
            if not known:
                break
            all_plans.keep(*self._reached_cost(aim))
        return self.bounds

    def cheapest(self, offer: Callable[[Draft], Draft]) -> float:
        """Offer a draft of low cost of pairs, hosts and own tie-breakers together; return a bound on it.

        The bound holds for all plans that serve and cover everybody who can be.
        """
        problem = self.case.problem
        choices = choices_of(self.ground, trues(problem.sites), bare=False)
        program = HomeProgram(self.ground, choices, None, problem.max_hosts, 0.0)
        program.price()
        budget = self.budget.within(_SECONDS)
        hosts, bound = program.counts(problem.pair_cost, budget, gap=0.0)
        if hosts is not None and problem.may_run(hosts):
            same = problem.pair_cost, problem.pair_cost
            trial = self._carried_out(program, hosts, same, budget)
            self.draft = self.draft if trial is None else offer(trial)
        never = problem.may_own.copy()
        never[choices.site] = False
        return bound + float(problem.own_cost[never].sum())

    def _even(self, aim: Spread, offer: Callable[[Draft], Draft]) -> None:
        """Offer drafts with a smaller largest load, by bisection; what follows keeps to the load that is reached."""
        least = aim.plain_bound(self.case, self.draft.placement, self.draft.seating)
        low, high = int(least), int(self._reached(aim))
        budget = self.budget.within(_SECONDS)
        rng = np.random.default_rng(budget.seed)
        while low < high:
            middle = (low + high) // 2
            _, caps = aim.within(self.case.problem, middle)
            problem = dataclasses.replace(self.case.problem, caps=caps)
            narrower = Ground(problem, self.ground.losses)
            state = state_of(narrower, self.draft)
            if repair(state, self._bare(), _STEPS, rng, budget):
                self.draft = offer(draft_of(self.case, state))
            if self._reached(aim) <= middle:
                self.ground, high = narrower, middle
            else:
                low = middle + 1

    def _cheapen(
        self, aim: PairAim, all_plans: HomeProgram, offer: Callable[[Draft], Draft], budget: SolveBudget
    ) -> bool:
        """Bound ``aim`` and offer drafts that cost less of it; False where time ends before."""
        cost = self._cost(aim)
        least = all_plans.least(cost, budget)
        if least is None:
            return False
        bound = max(least, self._offered(all_plans, cost, offer, budget))
        if isinstance(aim, Moves):
            self._move_back(offer, budget)
        known = self.bounds.get(aim.name, 0.0)
        self.bounds[aim.name] = max(bound, known)
        return True

    def _move_fewest(self, kept: Sequence[Kept], offer: Callable[[Draft], Draft]) -> bool:
        """Bound moves, and offer drafts with fewer; say whether the fewest are known."""
        search = FewestMoves(self.case, self.ground, self.draft, self.budget, kept)
        self.bounds["moves"] = search.improve(offer)
        self.draft = search.draft
        return search.moves <= search.bound

    def _move_back(self, offer: Callable[[Draft], Draft], budget: SolveBudget) -> None:
        """Offer the draft with more sites on their hosts of today, and else nearer to the aims after moves."""
        state = state_of(self.ground, self.draft)
        nearer = nearer_today(self.case, state, self._bare(), budget)
        self.draft = offer(draft_of(self.case, nearer))

    def _widen(self, aim: Margin, all_plans: HomeProgram, offer: Callable[[Draft], Draft], budget: SolveBudget) -> bool:
        """Bound the smallest margin by bisection, and offer drafts with a larger one; False where time ends before."""
        margin = self.case.problem.margin_ms
        values = np.unique(margin)
        at = int(np.searchsorted(values, self._reached(aim)))
        low, high = at, len(values) - 1
        while low < high:
            middle = (low + high + 1) // 2
            below = margin < values[middle]
            lacking = all_plans.least(as_floats(below), budget)
            if lacking is None:
                return False
            if lacking <= _NOBODY:
                low = middle
            else:
                high = middle - 1
        self.bounds[aim.name] = float(values[low])
        for _ in range(_MARGINS):
            at = int(np.searchsorted(values, self._reached(aim)))
            if at >= low:
                break
            below = margin < values[low]
            self._offered(all_plans, as_floats(below), offer, budget)
            low = (at + low) // 2
        return True

    def _offered(
        self, all_plans: HomeProgram, cost: Floats, offer: Callable[[Draft], Draft], budget: SolveBudget
    ) -> float:
        """Offer drafts of low ``cost`` (E,); return a bound on it."""
        half = (budget.left or 0.0) / 2
        hosts, bound = all_plans.counts(cost, budget.within(half))
        aims = map(aim_of, self.case.tie_breaks)
        sums = [aim for aim in aims if isinstance(aim, PairAim)]
        later = [self._cost(aim) for aim in sums]
        for running in (self.draft.sized.counts.hosts, hosts):
            if running is None or not self.case.problem.may_run(running):
                continue
            near = all_plans.near(running)
            all_costs = weighed([cost, *later])
            trial = self._carried_out(near, running, (cost, all_costs), budget)
            self.draft = offer(trial) if trial is not None else self.draft
        return bound

    def _cost(self, aim: PairAim) -> Floats:
        if isinstance(aim, Moves):
            return as_floats(self.case.in_force.leaves)
        return aim.cost(self.case.problem, self.case.incumbent).values

    def _reached(self, aim: Aim) -> float:
        return aim.reached(self.case, self.draft.placement, self.draft.seating)

    def _reached_cost(self, aim: PairAim | Margin) -> tuple[Floats, float]:
        """Return what later answers may not exceed: a cost (E,) with its most."""
        if isinstance(aim, Margin):
            least_ms = self._reached(aim) - _NOBODY
            below = self.case.problem.margin_ms < least_ms
            return as_floats(below), 0.0
        if not isinstance(aim, Moves):
            return self._cost(aim), self._reached(aim)
        # Plans as good move as many between hosts, and may send more of them to another pool.
        told = aim.told(self.case, self.draft.placement, self.draft.in_use)
        moved = told - self.case.in_force.gone
        return self._cost(aim), moved

    def _all_plans(self) -> HomeProgram:
        """Return the program that all plans meet which serve and cover as much with as many hosts."""
        problem = self.case.problem
        hosts = self.draft.sized.counts.hosts
        short = self._bare() & self.ground.coverable
        somebody_bare = bool(short.any())
        choices = choices_of(self.ground, ~problem.may_own, bare=somebody_bare)
        total = int(hosts.sum()) if problem.objective == "hosts" else None
        most = np.minimum(problem.max_hosts, np.inf if total is None else total)
        uncovered = float(problem.weight_of(short))
        return HomeProgram(self.ground, choices, total, rounded(most), uncovered)

    def _bare(self) -> Bools:
        """Return the sites on shared hosts that have no standby, shape (S,)."""
        bare = ~self.ground.coverable
        bare[self.draft.bare] = True
        return bare

    def _carried_out(
        self, program: HomeProgram, hosts: Ints, costs: tuple[Floats, Floats], budget: SolveBudget
    ) -> Draft | None:
        """Return a draft with ``hosts`` (P,) near the answer of ``program``; None where none is found.

        Homes are of low cost by the first of ``costs`` (E,), then bettered by the second.
        """
        choices = program.choices
        if not (choices.standby >= 0).any():
            return None
        shares = program.shares(hosts, costs[0], budget)
        if shares is None:
            return None
        bare = self._bare()
        wishes = self._wishes(choices, shares, hosts)
        state = dealt(self.ground, hosts, wishes, bare)
        if state is None or not repair(state, bare, _STEPS, np.random.default_rng(budget.seed), budget):
            return None
        better = settled_by_cost(state, bare, HomeCost(costs[1]), budget)
        return draft_of(self.case, better)

    def _wishes(self, choices: HomeChoices, flow: Floats, hosts: Ints) -> Wishes:
        """Return the choice with the greatest share of each site, and the host that it has today.

        The hosts that run in a pool are those that most sites use today.
        """
        ranked = np.lexsort((-flow, choices.site))
        sites, first = np.unique(choices.site[ranked], return_index=True)
        chosen: Ints = ranked[first]
        divided = totals(choices.site, flow, self.case.problem.sites)
        shared = divided[sites] >= _SHARED
        sites, chosen = sites[shared], chosen[shared]
        home = choices.home[chosen]
        today = self.case.in_force.host
        host = np.full(len(sites), -1)
        for p in np.unique(home).tolist():
            mine = np.flatnonzero(home == p)
            hosts_today = [today[s] for s in sites[mine].tolist()]
            names = self.case.today.names[p]
            named = Counter(name for name in hosts_today if name in names)
            most = int(hosts[p])
            used_most = [name for name, _ in named.most_common(most)]
            host[mine] = positions(hosts_today, used_most)
        return Wishes(sites, home, choices.standby[chosen], host)
