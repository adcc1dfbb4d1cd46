"""Later aims of small fleets, exactly: the model of single hosts once more, with hosts under their names.

Without cover, nobody has a standby there. Added to the rows of `host_by_host`: what plans keep that are as good as the
one at hand on all aims before, and after each aim its value. A move is a home on another host than today's; the largest
load is a column t with t >= the load of every host; the smallest margin is sought by bisection.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from planner.arrays import as_floats
from planner.fleet import Floats, Ints
from planner.sizing.cover.host_by_host import HostByHost, Model, homes, size
from planner.sizing.cover.losses import Losses
from planner.sizing.instance.case import Case, TieBreak
from planner.sizing.instance.classes import group
from planner.sizing.solution.aims import Aim, Bottleneck, Moves, PairAim, aim_of
from planner.sizing.solution.counts import Counts, Sized
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.evaluator import evaluator_of
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seating
from planner.sizing.solvers.budget import Outcome, SolveBudget
from planner.sizing.solvers.model_builder import Loads, Terms, add_room
from planner.sizing.tie_breaks.as_good import as_good_as

_MOST_VARIABLES = 1_500
_MOST_HOMES = 12_000  # without cover
_SECONDS = 30.0
_SECONDS_ALONE = 10.0  # without cover
_CLOSE = 1e-6


@dataclass
class ExactAims:
    """Settles the later aims of plans as good as ``draft``, one after the other, with ``bounds`` on them."""

    case: Case
    losses: Losses
    draft: Draft
    budget: SolveBudget
    bounds: dict[TieBreak, float] = field(default_factory=dict)

    def settle(self, offer: Callable[[Draft], Draft]) -> dict[TieBreak, float]:
        """Offer a draft that is best by all aims, and return bounds; none where the fleet is too large."""
        problem, names = self.case.problem, self.case.today.names
        aims = [aim for aim in map(aim_of, self.case.tie_breaks) if aim.applies(self.case.incumbent)]
        if not aims or problem.split or size(problem, self.losses) > _MOST_VARIABLES:
            return {}
        in_use = set(self.case.in_force.host)
        self.model = Model(problem, self.losses, np.array([len(in_use.intersection(mine)) for mine in names]))
        self._keep_what_comes_before()
        budget, x = self.budget.within(_SECONDS), None
        for aim in aims:
            if not aim.defined(self.draft.placement):
                break
            outcome, found = self._settled(aim, budget)
            if np.isfinite(outcome.bound):
                self.bounds[aim.name] = outcome.bound
            x = found if outcome.has_solution else x
            if outcome.state != "optimal":
                break
        if x is not None:
            answer = self.model.answer(Outcome("feasible", "", self.draft.sized.value, self.draft.sized.bound), x)
            self.draft = offer(draft_of_hosts(self.case, self.losses, answer, by_name="moves" in self.case.tie_breaks))
        return self.bounds

    def _keep_what_comes_before(self) -> None:
        problem, model, good = self.case.problem, self.model, as_good_as(self.case.problem, self.draft)
        bare = [seat.site for seat, host in zip(self.draft.seating.seats, self.draft.standbys, strict=True) if not host]
        missed = good.kept, good.weight, int(problem.weights[bare].sum())
        asked = missed if self.case.fleet.policy.cover != "none" else missed[:2]
        for cost, most in zip(model.missed(), asked, strict=False):
            model.keep(cost, most + 0.5)
        if problem.objective == "new_hosts":
            model.keep(model.cost(model.r, 1.0), good.hosts + 0.5)
            model.keep(model.cost(self._added(), 1.0), good.objective + 0.5)
        else:
            model.keep(model.objective(), good.objective + _CLOSE * max(1.0, abs(good.objective)))
        model.keep(model.cost(model.o, 1.0), good.own + 0.5)
        if problem.objective != "cost":
            model.keep(model.cost(model.o, problem.own_cost[model.own_of]), good.own_cost * (1 + _CLOSE) + _CLOSE)

    def _added(self) -> Ints:
        """Return columns of the hosts of each pool beyond those that exist."""
        model, problem = self.model, self.case.problem
        added = model.rows.block(problem.pools)
        running: Terms = model.pool, model.r, 1.0
        new: Terms = np.arange(problem.pools), added, -1.0
        model.rows.add([running, new], problem.pools, -np.inf, as_floats(problem.existing))
        return added

    def _settled(self, aim: Aim, budget: SolveBudget) -> tuple[Outcome, Floats]:
        """Return the best of ``aim`` with the values of all columns, and keep to it."""
        if isinstance(aim, PairAim):
            cost, least = self._cost(aim), self._cost(aim, idle=True)
            outcome, x = self.model.solve(cost, budget)
            if (least < cost).any():
                outcome = dataclasses.replace(outcome, bound=self.model.solve(least, budget)[0].bound)
            if outcome.state == "optimal":
                self.model.keep(cost, outcome.objective + _CLOSE * max(1.0, abs(outcome.objective)))
            return outcome, x
        assert isinstance(aim, Bottleneck)
        return self._widest(aim, budget) if aim.larger else self._evenest(budget)

    def _cost(self, aim: PairAim, *, idle: bool = False) -> Floats:
        """Return what homes and own tie-breakers cost by ``aim``.

        A site without a named host may stay on any that runs today: the first of its pool, as many as exist. Where
        named hosts are ``idle``, others after them count as existing.
        """
        model, problem, today = self.model, self.case.problem, self.case.in_force
        if not isinstance(aim, Moves):
            return model.cost(model.x, aim.cost(problem, today.incumbent).values[model.pair])
        places = zip(model.pool[model.home].tolist(), model.number[model.home].tolist(), strict=True)
        name = [self.case.today.names[p][number] for p, number in places]
        named = [today.host[s] for s in model.site.tolist()]
        known = self.case.today.named
        exist = problem.existing + (np.array([len(known.intersection(mine)) for mine in self.case.today.names]) * idle)
        runs = np.array([host in known for host in name]) | (model.number < exist[model.pool])[model.home]
        may = today.incumbent[model.pair] & runs
        off = np.array([a != b if b else not on for a, b, on in zip(name, named, may.tolist(), strict=True)])
        moved = (off & ~today.nowhere[model.site]).astype(np.float64)
        given_up = (~today.nowhere[model.own_of]).astype(np.float64)
        total: Floats = model.cost(model.x, moved) + model.cost(model.o, given_up)
        return total

    def _widest(self, aim: Bottleneck, budget: SolveBudget) -> tuple[Outcome, Floats]:
        """Return the largest smallest margin: with fewer and fewer pairs, as long as no home has to be on another."""
        model, margin = self.model, self.case.problem.margin_ms
        levels = np.unique(margin)
        low, high = (
            int(np.searchsorted(levels, aim.reached(self.case, self.draft.placement, self.draft.seating))),
            len(levels) - 1,
        )
        best: Floats | None = None
        while low < high or best is None:
            middle = (low + high + 1) // 2
            below = model.cost(model.x, (margin[model.pair] < levels[middle]).astype(np.float64))
            outcome, x = model.solve(below, budget)
            if outcome.state != "optimal":
                return Outcome("unsolved", outcome.word, bound=float(levels[high])), x
            if outcome.objective < 0.5:
                low, best = middle, x
            elif low == high:
                return Outcome("unsolved", "no plan", bound=float(levels[high])), x
            else:
                high = middle - 1
        model.keep(model.cost(model.x, (margin[model.pair] < levels[low]).astype(np.float64)), 0.5)
        return Outcome("optimal", "", float(levels[low]), float(levels[low])), best

    def _evenest(self, budget: SolveBudget) -> tuple[Outcome, Floats]:
        """Return the smallest largest load."""
        model, problem = self.model, self.case.problem
        most = model.rows.block(1, whole=True, upper=float(problem.caps.max()))
        load = Loads(model.home, model.x, problem.clusters[model.site])
        add_room(model.rows, np.ones(len(model.r)), np.repeat(most, len(model.r)), [load])
        outcome, x = model.solve(model.cost(most, 1.0), budget)
        if outcome.state == "optimal":
            model.keep(model.cost(most, 1.0), outcome.objective + 0.5)
        return outcome, x


def settled_exactly(
    case: Case, draft: Draft, budget: SolveBudget, *, longer: bool
) -> tuple[Draft, dict[TieBreak, float]]:
    """Return the best plan as good as ``draft``, which has no cover, with bounds; none where the fleet is too large.

    ``longer``: fleets of hundreds of sites are not too large, which may take seconds.
    """
    problem, judge = case.problem, evaluator_of(case, cover=False)
    # One loss of everything: nobody can stand by for anybody.
    alone = Losses("hub", np.ones((1, problem.pools), dtype=np.bool_), ("all",), problem.caps)
    if problem.split or homes(problem) > (_MOST_HOMES if longer else _MOST_VARIABLES):
        return draft, {}
    best = draft

    def offer(found: Draft) -> Draft:
        nonlocal best
        counts = dataclasses.replace(draft.sized.counts, hosts=found.sized.counts.hosts)
        trial = dataclasses.replace(found, sized=dataclasses.replace(draft.sized, counts=counts))
        best = trial if judge(trial) < judge(best) else best
        return best

    bounds = ExactAims(case, alone, draft, budget.within(_SECONDS_ALONE)).settle(offer)
    if "moves" in bounds:  # in the count of placements, sites without a host today move
        bounds["moves"] += float(case.in_force.nowhere[problem.site[best.placement.pair]].sum())
    return best, bounds


def draft_of_hosts(case: Case, losses: Losses, exact: HostByHost, *, by_name: bool = False) -> Draft:
    """Return the draft of an answer host by host; ``by_name``: its numbers are positions among the names of a pool."""
    problem, today = case.problem, case.today
    used = {seat.host for seat in exact.seats} | {standby for standby in exact.standbys if standby}
    names: dict[int, list[str]] = {}
    named: dict[str, str] = {}
    for key in sorted(used, key=lambda key: [int(part) for part in key.split("/")]):
        p = int(key.split("/")[0])
        mine = names.setdefault(p, [])
        named[key] = today.names[p][int(key.split("/")[1]) if by_name else len(mine)]
        mine.append(named[key])
    seats = [dataclasses.replace(seat, host=named[seat.host]) for seat in exact.seats]
    hosts = np.zeros(problem.pools, dtype=np.int64)
    for p, mine in names.items():
        hosts[p] = len(mine)
    classes = group(problem, by_weight=True)
    none = np.zeros(classes.count, dtype=np.int64)
    counts = Counts(hosts, np.zeros(len(classes.pool)), none, none)
    pair = np.array([seat.pair for seat in seats], dtype=np.int64)
    standbys = tuple(named[key] if key else None for key in exact.standbys)
    without = np.array([seat.site for seat, key in zip(seats, standbys, strict=True) if key is None], dtype=np.int64)
    bare, can = (
        int(problem.weights[without].sum()),
        losses.coverable_sites(problem),
    )
    uncovered = int(problem.weights[without[can[without]]].sum())
    return Draft(
        Sized(
            classes,
            counts,
            exact.value,
            exact.bound,
            True,
            exact.word,
            uncovered=uncovered,
            least={"covered": float(bare)},
        ),
        Placement(pair, problem.clusters[problem.site[pair]], exact.unserved, exact.own, ()),
        Seating(seats, names),
        standbys,
    )
