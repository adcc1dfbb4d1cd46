"""Later aims of small fleets, exactly: the model of single hosts once more, with hosts under their names.

Without cover, nobody has a standby there. Added to the rows of `host_by_host`: what plans keep that are as good as the
one at hand on all aims before, and after each aim its value. A move is a home on another host than today's; the largest
load is a column t with t >= the load of every host; the smallest margin is sought by bisection. Where sites may be
split, a site moves once, and pays for a pool once, however many of its units do so:

    sum of x_ij over the hosts j of another name, or of a pool  <=  d_i m,    m in {0, 1}
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import takewhile

import numpy as np

from planner.arrays import as_floats, indices, int_array
from planner.fleet import Floats, Ints
from planner.sizing.cover.answer_by_host import draft_of_hosts
from planner.sizing.cover.best_draft import BestAmongEquals
from planner.sizing.cover.host_by_host import Model, home_variables, standby_variables
from planner.sizing.cover.losses import Losses, all_at_once
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.solution.aims import Aim, Bottleneck, Moves, PairAim, aim_of
from planner.sizing.solution.draft import Draft
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.model_builder import Loads, Terms, add_room, loosened
from planner.sizing.tie_breaks.as_good import as_good_as

_MOST_VARIABLES = 1_500
_MOST_HOMES = 12_000  # without cover
_SECONDS = 30.0
_SECONDS_ALONE = 10.0  # without cover
_CLOSE = 1e-6


@dataclass
class ExactAims:
    """Settles the later aims of plans as good as ``draft``, one after the other, with ``bounds`` on them.

    Those ``proven`` that lead are known to be at their best in ``draft``, and have no bound here.
    """

    case: Case
    losses: Losses
    draft: Draft
    budget: SolveBudget
    proven: Sequence[TieBreak] = ()
    bounds: dict[TieBreak, float] = field(default_factory=dict)

    def settle(self, offer: Callable[[Draft], Draft]) -> dict[TieBreak, float]:
        """Offer a draft that is best by all aims, and return bounds; none where the fleet is too large."""
        problem = self.case.problem
        names = self.case.today.names
        today = self.case.in_force
        nobody_moves = bool(today.nowhere.all())
        all_aims = map(aim_of, self.case.tie_breaks)
        aims = [aim for aim in all_aims if not (nobody_moves and isinstance(aim, Moves))]
        if not aims or standby_variables(problem, self.losses) > _MOST_VARIABLES:
            return {}
        in_use = set(today.host)
        named = int_array([len(in_use.intersection(mine)) for mine in names])
        self.model = Model(problem, self.losses, named)
        self._keep_what_comes_before()
        budget, x = self.budget.within(_SECONDS), None
        known = len(list(takewhile(self._is_proven, aims)))
        for aim in aims[:known]:
            self._keep(aim)
        for aim in aims[known:]:
            if not aim.defined(self.draft.placement):
                continue
            outcome, found = self._settled(aim, budget)
            if np.isfinite(outcome.bound):
                self.bounds[aim.name] = outcome.bound
            x = found if outcome.has_solution else x
            if outcome.state != "optimal":
                break
        if x is not None:
            sized = self.draft.sized
            as_before = Outcome("feasible", "", sized.value, sized.bound)
            answer = self.model.answer(as_before, x)
            by_name = "moves" in self.case.tie_breaks
            best = draft_of_hosts(self.case, self.losses, answer, by_name=by_name)
            self.draft = offer(best)
        return self.bounds

    def _keep_what_comes_before(self) -> None:
        problem, model = self.case.problem, self.model
        good = as_good_as(self.case, self.draft)
        kept, unserved, bare = model.missed()
        model.keep(kept, good.kept + 0.5)
        model.keep(unserved, good.weight + 0.5)
        if self.case.fleet.policy.cover != "none":
            model.keep(bare, problem.weight_of(self.draft.bare) + 0.5)
        if problem.objective == "new_hosts":
            model.keep_number(model.r, good.hosts)
            model.keep_number(self._added(), good.objective)
        else:
            model.keep(model.objective(), loosened(good.objective, _CLOSE))
        model.keep_number(model.o, good.own)
        if problem.objective != "cost":
            prices = model.cost(model.o, problem.own_cost[model.own_of])
            model.keep(prices, good.own_cost * (1 + _CLOSE) + _CLOSE)

    def _added(self) -> Ints:
        """Return columns of the hosts of each pool beyond those that exist."""
        model, problem = self.model, self.case.problem
        added = model.rows.block(problem.pools)
        running: Terms = model.pool, model.r, 1.0
        new: Terms = np.arange(problem.pools), added, -1.0
        model.rows.below([running, new], problem.pools, problem.existing)
        return added

    def _is_proven(self, aim: Aim) -> bool:
        return aim.name in self.proven and isinstance(aim, PairAim)

    def _keep(self, aim: Aim) -> None:
        """Keep to what the draft makes of ``aim``."""
        assert isinstance(aim, PairAim)
        reached = aim.told(self.case, self.draft.placement, self.draft.in_use)
        if isinstance(aim, Moves):
            reached -= self.case.in_force.gone  # the model has no sites that need no host
        cost, _ = self._costs(aim)
        self.model.keep(cost, loosened(reached, _CLOSE))

    def _settled(self, aim: Aim, budget: SolveBudget) -> tuple[Outcome, Floats]:
        """Return the best of ``aim`` with the values of all columns, and keep to it."""
        if isinstance(aim, PairAim):
            cost, least = self._costs(aim)
            outcome, x = self.model.solve(cost, budget)
            if (least < cost).any():
                lower, _ = self.model.solve(least, budget)
                outcome = dataclasses.replace(outcome, bound=lower.bound)
            if outcome.state == "optimal":
                self.model.keep(cost, loosened(outcome.objective, _CLOSE))
            return outcome, x
        assert isinstance(aim, Bottleneck)
        return self._widest(aim, budget) if aim.larger else self._evenest(budget)

    def _costs(self, aim: PairAim) -> tuple[Floats, Floats]:
        """Return what homes and own tie-breakers cost by ``aim``, and at least, with ``idle`` hosts as in `_moved`."""
        model, today = self.model, self.case.in_force
        if not isinstance(aim, Moves):
            each = aim.cost(self.case.problem, today.incumbent).values
            cost = model.cost(*self._once(each[model.pair], model.pair))
            return cost, cost
        paid = [self._once(self._moved(idle=idle), model.site) for idle in (False, True)]
        given_up = model.cost(model.o, as_floats(~today.nowhere[model.own_of]))
        cost, least = (given_up + model.cost(*columns) for columns in paid)
        return cost, least

    def _once(self, each: Floats, of: Ints) -> tuple[Ints, Floats]:
        """Return columns and their costs, by which homes cost ``each`` (X,); units of one ``of`` (X,) pay once."""
        model = self.model
        if not self.case.problem.split:
            return model.x, each
        paying = np.flatnonzero(each)
        whose, first, row = np.unique(of[paying], return_index=True, return_inverse=True)
        first = paying[first]
        paid = model.rows.block(len(whose), upper=1.0, whole=True)
        units: Terms = row, model.x[paying], 1.0
        most: Terms = indices(whose), paid, -as_floats(model.units[model.site[first]])
        model.rows.below([units, most], len(whose))
        return paid, each[first]

    def _moved(self, *, idle: bool) -> Floats:
        """Return 1 for the homes that are moves, else 0, shape (X,).

        A site without a named host may stay on any that runs today: the first of its pool, as many as exist. Where
        named hosts are ``idle``, others after them count as existing.
        """
        model = self.model
        today = self.case.in_force
        names = self.case.today.names
        known = self.case.today.named
        places = np.column_stack((model.pool, model.number))
        name = [names[p][number] for p, number in places.tolist()]
        in_use = [len(known.intersection(mine)) for mine in names]
        idle_hosts = int_array(in_use) * idle
        exist = self.case.problem.existing + idle_hosts
        existing = model.number < exist[model.pool]
        runs = np.isin(name, list(known)) | (existing)
        of_today = today.incumbent[model.pair]
        on_any = of_today & runs[model.home]
        mine = np.array(today.host)[model.site]
        on_same = mine == np.array(name)[model.home]
        stays = np.where(mine == "", on_any, on_same)
        return as_floats(~stays & ~today.nowhere[model.site])

    def _widest(self, aim: Bottleneck, budget: SolveBudget) -> tuple[Outcome, Floats]:
        """Return the largest smallest margin: with fewer and fewer pairs, as long as no home has to be on another."""
        levels = np.unique(self.case.problem.margin_ms)
        reached = aim.reached(self.case, self.draft.placement, self.draft.seating)
        low = int(np.searchsorted(levels, reached))
        high = len(levels) - 1
        best: Floats | None = None
        while low < high or best is None:
            middle = (low + high + 1) // 2
            below = self._below(levels[middle])
            outcome, x = self.model.solve(below, budget)
            bound = float(levels[high])
            if outcome.state != "optimal":
                return Outcome("unsolved", outcome.word, bound=bound), x
            if outcome.objective < 0.5:
                low, best = middle, x
            elif low == high:
                return Outcome("unsolved", "no plan", bound=bound), x
            else:
                high = middle - 1
        widest = float(levels[low])
        self.model.keep(self._below(widest), 0.5)
        return Outcome("optimal", "", widest, widest), best

    def _below(self, margin_ms: float) -> Floats:
        """Return a cost of 1 for each home of a smaller margin."""
        model = self.model
        below = self.case.problem.margin_ms[model.pair] < margin_ms
        return model.cost(model.x, as_floats(below))

    def _evenest(self, budget: SolveBudget) -> tuple[Outcome, Floats]:
        """Return the smallest largest load."""
        model, problem = self.model, self.case.problem
        largest_cap = float(problem.caps.max())
        most = model.rows.block(1, whole=True, upper=largest_cap)
        clusters = problem.items[model.site]
        load = Loads(model.home, model.x, clusters)
        one = np.ones(len(model.r))
        largest_at = np.repeat(most, len(one))
        add_room(model.rows, one, largest_at, [load])
        largest = model.cost(most, 1.0)
        outcome, x = model.solve(largest, budget)
        if outcome.state == "optimal":
            model.keep(largest, outcome.objective + 0.5)
        return outcome, x


def settled_exactly(
    case: Case, draft: Draft, budget: SolveBudget, proven: Sequence[TieBreak], *, longer: bool
) -> tuple[Draft, dict[TieBreak, float]]:
    """Return the best plan as good as ``draft``, which has no cover, with bounds; none where the fleet is too large.

    ``proven``: as in `ExactAims`. ``longer``: fleets of hundreds of sites are not too large, which may take seconds.
    """
    problem = case.problem
    if home_variables(problem) > (_MOST_HOMES if longer else _MOST_VARIABLES):
        return draft, {}
    shortly = budget.within(_SECONDS_ALONE)
    return settled_by_hosts(case, all_at_once(problem), draft, shortly, () if problem.split else proven)


def settled_by_hosts(
    case: Case, losses: Losses, draft: Draft, budget: SolveBudget, proven: Sequence[TieBreak] = ()
) -> tuple[Draft, dict[TieBreak, float]]:
    """Return the best plan as good as ``draft`` with bounds on the later aims; none where the fleet is too large.

    ``proven``: as in `ExactAims`.
    """
    best = BestAmongEquals(case, draft)
    bounds = ExactAims(case, losses, draft, budget, proven).settle(best.offer)
    return best.draft, bounds
