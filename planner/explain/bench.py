"""What every search for a suggestion shares: the fleet, its plan, the time left, and planning a changed fleet."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field

import numpy as np

from planner.explain.changes import changed, relative_size
from planner.explain.explanation import Change, Goal, Kind, PlanMeasures, Suggestion
from planner.fleet import Fleet
from planner.plan import Plan
from planner.rules import Checker
from planner.sizing import HostCount, Problem, Progress, SolveBudget, count, restrict
from planner.sizing import plan as make_plan

_CLOSE = 1e-9  # sums of weights


def planned(fleet: Fleet, budget: SolveBudget, tell: Callable[[str], None] | None = None) -> Plan:
    """Return a plan of ``fleet`` within ``budget``; ``tell`` takes words on the best plan so far.

    Ctrl-C ends this plan and, where ``budget`` listens, all that is made within it.
    """

    def watch(progress: Progress) -> bool:
        if tell is not None and progress.best is not None:
            least = "" if progress.bound is None else f", at least {progress.bound:,.10g} in any plan"
            tell(f"the plan itself, best {progress.best:,.10g}{least}")
        return not budget.stopped.is_set()

    return make_plan(fleet, time_limit=budget.left, seed=budget.seed, watch=watch)


@dataclass
class Bench:
    """One fleet with its plan; ``budget`` is shared by all searches. ``tell`` takes words on what is going on."""

    fleet: Fleet
    plan: Plan
    checker: Checker
    problem: Problem
    budget: SolveBudget
    tell: Callable[[str], None]
    notes: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.before = PlanMeasures.of(self.plan)
        self.weight_of = dict(zip(self.fleet.site_ids, self.fleet.weights, strict=True))
        self.kept = frozenset(np.array(self.fleet.site_ids, dtype=object)[self.fleet.kept].tolist())

    def replan(self, changes: Sequence[Change]) -> Plan | None:
        """Return the plan of the changed fleet, without later aims; None when no time is left."""
        return None if self.budget.spent else self.plan_of(changed(self.fleet, changes))

    def cannot_save(self, changes: Sequence[Change]) -> bool:
        """Say whether no plan of the changed fleet has a host less: its count, far sooner there than a plan, tells."""
        if self.budget.spent or self.fleet.policy.cover != "none":
            return False
        return self._count_of(changed(self.fleet, changes)).lower_bound > self.counted - 1 + _CLOSE

    def is_better(self, fleet: Fleet) -> bool:
        """Say whether the plan of another fleet is better than the one at hand, which leaves nobody unserved."""
        found = self._count_of(fleet)
        return found.unserved == 0 and found.objective_value < self.plan.lower_bound - _CLOSE

    @property
    def all_hosts_needed(self) -> bool:
        """Whether the hosts at hand serve everybody and fewer had no room, though every site might use every hub."""
        problem = self.problem
        if self.before.unserved or problem.objective != "hosts" or np.isfinite(problem.own_cost).any():
            return False
        caps = np.repeat(problem.caps, np.minimum(problem.max_hosts, self.counted))
        largest = np.sort(caps)[::-1][: max(0, self.counted - 1)]
        return int(largest.sum()) < int(problem.clusters.sum())

    def _count_of(self, fleet: Fleet) -> HostCount:
        return count(fleet, time_limit=self.budget.left, seed=self.budget.seed, watch=self._go_on)

    def _go_on(self, _progress: Progress) -> bool:
        return not self.budget.stopped.is_set()

    def plan_of(self, fleet: Fleet) -> Plan | None:
        """Return the plan of another fleet, without later aims; None when no time is left."""
        if self.budget.spent:
            return None
        return planned(fleet.replace(policy=fleet.policy.replace(then="")), self.budget)

    def share(self, part: float) -> SolveBudget:
        """Return an effort of its own for ``part`` of the time left; Ctrl-C ends it too."""
        left = self.budget.left
        seconds = None if left is None else part * left
        return dataclasses.replace(self.budget, seconds=seconds, started=time.monotonic())

    @property
    def counted(self) -> int:
        """Hosts that the policy's objective counts in the plan at hand."""
        return _counted(self.before)

    def saves(self, after: PlanMeasures) -> bool:
        """Say whether ``after`` has a host less and leaves no more weight unserved."""
        return _counted(after) < self.counted and self.serves_less(after) <= 0

    def serves(self, after: PlanMeasures, site: str) -> bool:
        """Say whether ``after`` serves ``site`` and leaves less weight unserved."""
        return site not in after.unserved and self.serves_less(after) < 0

    def serves_less(self, after: PlanMeasures) -> int:
        """Return 1 where ``after`` leaves more weight unserved than the plan at hand, -1 where less, 0 where as much.

        The weight of sites that the policy keeps served counts first.
        """
        for sites in (self.kept, self.weight_of.keys()):
            more = self.missed(after, sites) - self.missed(self.before, sites)
            if abs(more) > _CLOSE:
                return 1 if more > 0 else -1
        return 0

    def missed(self, figures: PlanMeasures, of: Collection[str]) -> float:
        """Return the weight of the sites ``of`` that is left unserved."""
        return float(sum(self.weight_of[site] for site in figures.unserved if site in of))

    def served(self) -> Problem:
        """Return the problem of the sites that the plan does not leave unserved; own tie-breakers stay possible."""
        unserved = set(self.before.unserved)
        keep = np.array([self.fleet.site_ids[s] not in unserved for s in self.problem.site_at], dtype=np.bool_)
        return dataclasses.replace(restrict(self.problem, keep), own_cost=self.problem.own_cost[keep])

    def suggestion(
        self,
        kind: Kind,
        goal: Goal,
        words: str,
        changes: Sequence[Change],
        after: Plan | None,
        *,
        confirmed: bool,
        fewest: bool = False,
        site: str = "",
    ) -> Suggestion:
        """Return the suggestion with its figures; ``site`` is the unserved one that it is for."""
        pools = tuple(c.id for c in changes if c.sheet == "Hubs") or self._pools_of_policy(changes)
        sites = tuple(dict.fromkeys(c.id for c in changes if c.sheet == "Sites"))
        return Suggestion(
            kind=kind,
            goal=goal,
            site=site,
            words=words,
            changes=tuple(changes),
            sites=sites,
            pools=tuple(dict.fromkeys(pools)),
            touched=len(sites) + len(set(pools)),
            size=relative_size(changes),
            before=self.before,
            after=None if after is None else PlanMeasures.of(after),
            confirmed=confirmed,
            fewest=fewest,
        )

    def _pools_of_policy(self, changes: Sequence[Change]) -> tuple[str, ...]:
        """Return the pools that a change of the policy touches: all of them."""
        return self.fleet.pool_ids if any(c.sheet == "Policy" for c in changes) else ()


def _counted(figures: PlanMeasures) -> int:
    """Return the hosts that the policy's objective counts."""
    return figures.hosts if figures.new_hosts is None else figures.new_hosts
