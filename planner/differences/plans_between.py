"""Plans of the fleets in between: what each kind of change does to hosts, sites and cover.

Each plan starts from the one before and moves as few sites as it can (aim ``moves``), so that what moves had to. The
shares of the kinds add up to the whole, and hang on their order, which is always `ORDER`.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from planner.counted_words import counted, first_few
from planner.differences.difference import CAUSES, Between, Cause, FleetChange
from planner.differences.fleets_between import ORDER, fleet_between
from planner.differences.served import hosts_of
from planner.explain.bench import planned
from planner.fleet import Fleet
from planner.plan import Plan
from planner.rules import Checker
from planner.sizing.solvers.budget import SolveBudget

_ROOM = 1.5  # times the longest plan so far that have to be left for another one


@dataclass(frozen=True)
class Road:
    """The plans in between in order, the first of them the old plan: ``steps[i]`` leads to ``plans[i + 1]``."""

    plans: tuple[Plan, ...]
    steps: tuple[Between, ...]
    whole: bool  # whether every change was planned

    @property
    def last(self) -> Plan:
        """The plan of the new fleet that keeps most sites where the old plan has them."""
        return self.plans[-1]


@dataclass
class _Walk:
    """The fleets, the changes between them, and what the plans may spend."""

    old: Fleet
    new: Fleet
    changes: Sequence[FleetChange]
    budget: SolveBudget
    tell: Callable[[str], None]
    longest: float = 0.0

    def step(self, kinds: Sequence[Cause], made: Sequence[Cause], standing: Plan) -> tuple[Between, Plan]:
        """Plan with ``kinds`` of change on top of those ``made`` before, of which ``standing`` is the plan."""
        cause: Cause = kinds[0] if len(kinds) == 1 else "several"
        rows = [change for change in self.changes if change.cause in kinds]
        self.tell(f"Planning in between: {CAUSES[cause]}")
        before = fleet_between(self.old, self.new, made, standing)
        fleet = fleet_between(self.old, self.new, [*made, *kinds], standing)
        began = time.monotonic()
        plan = self._planned(fleet)
        self.longest = max(self.longest, time.monotonic() - began)
        return _between(cause, _behind(before, fleet, rows), standing, plan), plan

    def again(self, standing: Plan) -> tuple[Between, Plan]:
        """Plan the old fleet again: what the old plan has too many of, or leaves out, is no change of the fleet."""
        self.tell("Planning the old fleet again")
        plan = self._planned(fleet_between(self.old, self.new, (), standing))
        return _between("search", (), standing, plan), plan

    def _planned(self, fleet: Fleet) -> Plan:
        return planned(fleet.replace(policy=fleet.policy.replace(then="moves")), self.budget)


def road_between(
    old: tuple[Fleet, Plan],
    new: Fleet,
    changes: Sequence[FleetChange],
    budget: SolveBudget,
    tell: Callable[[str], None],
) -> Road:
    """Return the plans from ``old`` to the fleet ``new``; where time is short, the last changes are made together."""
    walk = _Walk(old[0], new, changes, budget, tell)
    kinds = [kind for kind in ORDER if any(change.cause == kind for change in changes)]
    plans, steps, made = [old[1]], [], list[Cause]()
    if not old[1].proves(old[1].objective):
        step, plan = walk.again(plans[-1])
        plans, steps = [*plans, plan], [step]
    while kinds and not budget.spent:
        together = kinds if not budget.allows(_ROOM * walk.longest * len(kinds)) else kinds[:1]
        step, plan = walk.step(together, made, plans[-1])
        plans.append(plan)
        steps.append(step)
        made += together
        kinds = kinds[len(together) :]
    return Road(tuple(plans), tuple(steps), not kinds)


def _between(cause: Cause, behind: Sequence[str], before: Plan, after: Plan) -> Between:
    was, now = hosts_of(before), hosts_of(after)
    moved = tuple(sorted(site for site, hosts in now.items() if site in was and was[site] != hosts))
    moves = next((aim for aim in after.aims if aim.aim == "moves"), None)
    proven = after.proves(after.objective) and (not moved or (moves is not None and moves.proven))
    words = CAUSES[cause] if not behind else f"{CAUSES[cause]}: {first_few(behind)}"
    return Between(
        cause=cause,
        words=words,
        behind=tuple(behind),
        hosts=after.hosts,
        unserved=len(after.unserved),
        objective_value=after.objective_value,
        uncovered=len(after.uncovered),
        moved=moved,
        proven=proven,
    )


def _behind(before: Fleet, after: Fleet, rows: Sequence[FleetChange]) -> tuple[str, ...]:
    """Return the rows whose change counts: of round-trip times and releases those that let or keep somebody out."""
    ids = dict.fromkeys(row.id for row in rows)
    if {row.cause for row in rows} - {"latency", "release"}:
        return tuple(ids)
    gained = _eligible(before) ^ _eligible(after)
    sites, pools = {site for site, _ in gained}, {pool for _, pool in gained}
    return tuple(row for row in ids if row in sites or row in pools)


def _eligible(fleet: Fleet) -> set[tuple[str, str]]:
    pairs = Checker.of(fleet).eligible()
    sites, pools = np.array(fleet.site_ids, dtype=object), np.array(fleet.pool_ids, dtype=object)
    return set(zip(sites[pairs.site].tolist(), pools[pairs.pool].tolist(), strict=True))


def in_words(steps: Sequence[Between], old: Plan) -> tuple[str, ...]:
    """Return one sentence for each plan in between: what it did to hosts, sites served and moves."""
    told, before = [], (old.hosts, len(old.unserved))
    for step in steps:
        hosts, left = step.hosts - before[0], step.unserved - before[1]
        parts = [
            _signed(hosts, "host") if hosts else "as many hosts",
            *([f"{_signed(left, 'site')} left out"] if left else []),
            f"{counted(len(step.moved), 'site')} had to move" if step.moved else "nobody had to move",
        ]
        doubt = "" if step.proven else " (not proven)"
        told.append(f"{step.words[0].upper()}{step.words[1:]}: {', '.join(parts)}{doubt}.")
        before = (step.hosts, step.unserved)
    return tuple(told)


def _signed(number: int, noun: str) -> str:
    return f"{counted(abs(number), noun)} {'more' if number > 0 else 'fewer'}"
