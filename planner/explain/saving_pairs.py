"""The fewest pairs that would save a host if they were measured and turned out within their budgets.

Where the sets of the plan's proof force its hosts by themselves, a model over host counts and pairs alone proposes the
pairs that no known set speaks against (`opening`, without who goes where). The count of the fleet with these pairs
either has a host less, which makes them the fewest, or ends with sets that speak against them and go into the model: a
Benders decomposition (J. F. Benders, Numerische Mathematik 4 (1962) 238-252). Where there are few pairs, or many such
counts would be needed, and where the proof is another, the model with the flow answers.
"""

from __future__ import annotations

import functools
from collections.abc import Callable

import numpy as np

from planner.arrays import falses
from planner.explain.arcs import ExtraArcs, nearest, within
from planner.explain.assumed import OpenPairs, Pair, assumed
from planner.explain.bench import Bench
from planner.explain.explanation import PlanMeasures
from planner.explain.opening import OpeningModel
from planner.explain.openings import add_sets
from planner.fleet import Fleet, Ints
from planner.plan import Outcome, Plan
from planner.rules import Checker, Pairs
from planner.sizing import Problem, build_problem, inequalities, restrict, size, unlimited

Group = tuple[Outcome, tuple[Pair, ...], Plan]

_MOST_ARCS = 100_000
_ANSWERS = 3  # other sets of pairs that would save a host
_TRIES = 12  # answers that a plan refuses before giving up
_COUNTS = 25  # answers that a count refuses before the model has to know the flow
_FEW_PAIRS = 3_000  # with fewer the flow is soon found
_UPSIDE_SHARE = 0.5  # of the time
_ARCS_A_SECOND = 2_000  # open pairs among which the fewest that save a host are found in a second, at best
_CLOSE = 1e-9


def that_save(bench: Bench, fleet: Fleet, candidates: OpenPairs) -> list[Group]:
    """Return the fewest pairs that would save a host, and other sets as small as they come.

    ``fleet`` has all ``candidates`` within their budgets.
    """
    policy = bench.fleet.policy
    if policy.objective == "cost" or policy.split_sites or policy.cover != "none" or bench.counted < 1:
        return []
    problem = bench.served()
    site, pool, pairs = _opened(bench, Checker.of(fleet), problem)
    if not len(site) or not bench.budget.allows(min(len(site), _MOST_ARCS) / _ARCS_A_SECOND):
        return []
    if not bench.before.unserved and not bench.is_better(fleet):  # the count tells, far sooner than a plan
        return []
    extra = _arcs(bench.fleet, (site, pool), pairs, candidates.named(bench.fleet))
    return _Search(bench, problem, extra).groups()


class _Search:
    """The search for them; ``by_sets`` while the model does without the flow."""

    def __init__(self, bench: Bench, problem: Problem, extra: ExtraArcs) -> None:
        self.bench, self.problem, self.extra = bench, problem, extra
        self.learned: list[Callable[[OpeningModel], None]] = [functools.partial(add_sets, bench)]
        self.budget = bench.share(_UPSIDE_SHARE)
        forced = bench.plan.proof.kind in ("counting", "search") and not np.isfinite(problem.own_cost).any()
        self._begin(by_sets=forced and len(problem.pool) > _FEW_PAIRS)

    def _begin(self, *, by_sets: bool) -> None:
        self.by_sets = by_sets
        self.model = OpeningModel(self.problem, self.extra, self.bench.counted - 1, flows=not by_sets)
        for learned in self.learned:
            learned(self.model)

    def _learn(self, learned: Callable[[OpeningModel], None]) -> None:
        self.learned.append(learned)
        learned(self.model)

    def groups(self) -> list[Group]:
        """Return the groups of pairs, each with the plan in which all of it are within their budgets."""
        found: list[Group] = []
        tries, counts = _TRIES, _COUNTS
        while tries and len(found) < _ANSWERS:
            answer = self.model.solve(self.budget)
            if answer is None or not len(answer.used):
                break
            opened = np.isin(self.extra.switch, self.extra.switch[answer.used])
            names = tuple(sorted(_pair_of(self.extra.names[x]) for x in np.unique(self.extra.switch[opened])))
            fleet = assumed(self.bench.fleet, names, "within")
            if self.by_sets and self._refused(fleet):
                self._learn(lambda model, opened=opened: model.rule_out(opened))  # type: ignore[misc]
                counts -= 1
                if not counts:
                    self._begin(by_sets=False)
                continue
            after = self.bench.plan_of(fleet)
            if after is None:
                break
            tries -= 1
            if self.bench.saves(PlanMeasures.of(after)):
                found.append(("within", names, after))
                self._learn(lambda model, answer=answer: model.another(answer))  # type: ignore[misc]
            else:
                self._learn(lambda model, opened=opened: model.rule_out(opened))  # type: ignore[misc]
        return found

    def _refused(self, fleet: Fleet) -> bool:
        """Say whether the count of ``fleet`` has no host less; the sets that force it go into the model."""
        every = build_problem(fleet, Checker.of(fleet))
        problem = unlimited(restrict(every, np.isin(every.site_at, self.problem.site_at)))
        sized = size(problem, self.budget)
        if sized.bound <= self.bench.counted - 1 + _CLOSE:
            return False
        for cut in sized.cuts or ():
            inside = falses(sized.classes.count)
            inside[cut.classes] = True
            of_site = inside[sized.classes.of_site]
            for row in inequalities(cut):
                found = of_site, cut.room, cut.size, row.divisor, row.demand
                self._learn(lambda model, found=found: model.add_set(*found))  # type: ignore[misc]
        return True


def _opened(bench: Bench, optimistic: Checker, problem: Problem) -> tuple[Ints, Ints, Pairs]:
    """Return sites and pools in ``problem`` of the pairs that good measurements would open, and these pairs."""
    pairs, old = optimistic.eligible(), bench.checker.eligible()
    width = len(bench.fleet.pool_ids)
    pairs = pairs.take(~np.isin(pairs.site * width + pairs.pool, old.site * width + old.pool))
    return within(bench.fleet, problem, pairs)


def _arcs(fleet: Fleet, at: tuple[Ints, Ints], pairs: Pairs, candidates: dict[Pair, float]) -> ExtraArcs:
    """Return ``pairs``, which are ``at`` these sites and pools of the problem, as arcs with a change for each hub."""
    site, pool = at
    names = [
        _name((fleet.site_ids[s], fleet.hub_ids[fleet.hub_of_pool[p]]))
        for s, p in zip(pairs.site, pairs.pool, strict=True)
    ]
    distinct, switch = np.unique(np.array(names, dtype=object), return_inverse=True)
    size = np.array([candidates.get(_pair_of(name), 0.0) for name in names])
    cut = len(size) > _MOST_ARCS
    if cut:
        keep = nearest(site, size, max(1, _MOST_ARCS // max(1, len(np.unique(site)))))
        site, pool, switch, size = site[keep], pool[keep], switch[keep], size[keep]
    return ExtraArcs(site, pool, switch.astype(np.int64), np.zeros(len(site)), size, tuple(map(str, distinct)), cut)


def _name(pair: Pair) -> str:
    return "\0".join(pair)


def _pair_of(name: str) -> Pair:
    site, hub = name.split("\0")
    return site, hub
