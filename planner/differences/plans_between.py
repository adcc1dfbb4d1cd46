"""Plans of the fleets in between: what each kind of change does to hosts, sites and cover.

Each plan starts from the one before and moves as few sites as it can (aim ``moves``), so that what moves had to. The
shares of the kinds add up to the whole, and hang on their order, which is always `ORDER`.
"""

from __future__ import annotations

import math
import time
from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from planner.counted_words import counted, first_few
from planner.differences.difference import CAUSES, Between, Cause, FleetChange
from planner.differences.fleets_between import ORDER, fleet_between
from planner.differences.served import compared, first_aims, hosts_of
from planner.errors import InputError
from planner.explain.bench import planned
from planner.fleet import Fleet
from planner.plan import Plan
from planner.rules import Checker
from planner.sizing import SolveBudget

_ROOM = 1.5  # times the quickest plan so far that have to be left for another one


@dataclass(frozen=True)
class Road:
    """The plans in between in order, the first of them the old plan: ``steps[i]`` leads to ``plans[i + 1]``.

    ``nearest`` is the plan of the new fleet with the fewest moves from the old plan, and ``moves`` what it had to do.
    """

    plans: tuple[Plan, ...]
    steps: tuple[Between, ...]
    nearest: Plan
    moves: Between
    whole: bool  # whether no plan was left out or cut short for time


@dataclass
class _Walk:
    """The fleets, the changes between them, and what the plans may spend."""

    old: Fleet
    new: Fleet
    changes: Sequence[FleetChange]
    budget: SolveBudget
    tell: Callable[[str], None]
    least: float = math.inf  # seconds of the quickest plan
    cut: bool = False  # whether the time of some plan ended before it was done

    def plan(self, made: Sequence[Cause], standing: Plan, last: Cause | None = None, share: float = 1.0) -> Plan:
        """Plan with the changes ``made``, with few moves from ``standing``; ``last`` is what changed last.

        It may take the ``share`` of the time that is left: a search that goes on to its end would leave none.
        """
        self.tell(f"Intermediate plan: {'the new fleet, with the fewest moves' if last is None else CAUSES[last]}")
        fleet = fleet_between(self.old, self.new, made, standing)
        left, began = self.budget.left, time.monotonic()
        own = replace(self.budget, seconds=None if left is None else share * left, started=began)
        found = planned(fleet.replace(policy=fleet.policy.replace(then="moves")), own)
        self.least, self.cut = min(self.least, time.monotonic() - began), self.cut or own.spent
        return found

    def behind(self, kinds: Sequence[Cause], made: Sequence[Cause], standing: Plan) -> tuple[str, ...]:
        """Return the rows that ``kinds`` change on top of ``made`` and that count."""
        before = fleet_between(self.old, self.new, made, standing)
        after = fleet_between(self.old, self.new, [*made, *kinds], standing)
        return _behind(before, after, [change for change in self.changes if change.cause in kinds])


def road_between(
    old: tuple[Fleet, Plan],
    new: tuple[Fleet, Plan],
    changes: Sequence[FleetChange],
    budget: SolveBudget,
    tell: Callable[[str], None],
) -> Road:
    """Return the plans from ``old`` to the fleet of ``new``.

    The last of them is the nearest plan; where time is short, it follows sooner, for several kinds of change together.
    Where time ends before the nearest plan is as good as that of ``new``, this one stands for it.
    """
    walk = _Walk(old[0], new[0], changes, budget, tell)
    kinds: list[Cause] = [kind for kind in ORDER if any(change.cause == kind for change in changes)]
    nearest = walk.plan(kinds, old[1], share=2 / (2 + len(kinds)))
    given = walk.cut and compared(*(first_aims(new[0], plan) for plan in (nearest, new[1]))) > 0
    nearest = new[1] if given else nearest
    moves = _between("several", (), nearest, _moved(old[1], nearest), sure=not given)
    if not old[1].proves(old[1].objective) or not kinds:
        kinds.insert(0, "search")
    plans, steps, made = [old[1]], list[Between](), list[Cause]()
    together: list[Cause] = []
    while len(kinds) > 1 and budget.allows(_ROOM * walk.least):
        together.append(kinds.pop(0))
        try:
            plan = walk.plan([*made, *together], plans[-1], _cause(together), share=1 / len(kinds))
        except InputError:  # one change without the next makes a fleet that no plan is made for
            continue
        steps.append(_between(_cause(together), walk.behind(together, made, plans[-1]), plan, ()))
        plans.append(plan)
        made += together
        together = []
    whole = len(kinds) <= 1 and not walk.cut
    kinds = [*together, *kinds]
    steps.append(_between(_cause(kinds), walk.behind(kinds, made, old[1]), nearest, (), sure=not given))
    plans.append(nearest)
    return Road(tuple(plans), _with_moves(steps, plans, moves.moved), nearest, moves, whole)


def _cause(kinds: Sequence[Cause]) -> Cause:
    return kinds[0] if len(kinds) == 1 else "several"


def _with_moves(steps: Sequence[Between], plans: Sequence[Plan], moved: Sequence[str]) -> tuple[Between, ...]:
    """Return the steps, each with those of the sites ``moved`` that leave their first hosts for good by it."""
    hosts = [hosts_of(plan) for plan in plans]
    of_step: dict[int, list[str]] = defaultdict(list)
    for site in moved:
        of_step[turn([one.get(site) for one in hosts])].append(site)
    return tuple(replace(step, moved=tuple(of_step[at])) for at, step in enumerate(steps))


def turn(states: Sequence[Hashable]) -> int:
    """Return the step from which on the first of ``states`` does not come back; they are those of `Road.plans`.

    >>> turn(["A", "B", "A", "A", "C"])
    3
    """
    return max(at for at in range(1, len(states)) if states[at] != states[0] == states[at - 1]) - 1


def _moved(before: Plan, after: Plan) -> tuple[str, ...]:
    """Return the sites that both plans serve, on other hosts."""
    was, now = hosts_of(before), hosts_of(after)
    return tuple(sorted(site for site, hosts in now.items() if site in was and was[site] != hosts))


def _between(cause: Cause, behind: Sequence[str], after: Plan, moved: tuple[str, ...], *, sure: bool = True) -> Between:
    """Return a step; ``sure`` is False where the plan was not made for few moves from the one before."""
    moves = next((aim for aim in after.aims if aim.aim == "moves"), None)
    proven = after.proves(after.objective) and (moves is None or moves.proven)
    return Between(
        cause=cause,
        behind=tuple(behind),
        hosts=after.hosts,
        unserved=len(after.unserved),
        objective_value=after.objective_value,
        uncovered=len(after.uncovered),
        moved=moved,
        proven=sure and proven,
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
        if step.cause == "search" and not step.moved and before == (step.hosts, step.unserved):
            continue
        hosts, left = step.hosts - before[0], step.unserved - before[1]
        parts = [
            f"a plan needs {_signed(hosts, 'host')}" if hosts else "a plan needs no more and no fewer hosts",
            *([f"leaves {_signed(left, 'site')} out"] if left else []),
            f"moves {counted(len(step.moved), 'site')}" if step.moved else "moves no site",
        ]
        doubt = "" if step.proven else " (not proven)"
        behind = f" Changed: {first_few(step.behind)}." if step.behind else ""
        told.append(f"With {CAUSES[step.cause]}, {_listed(parts)}{doubt}.{behind}")
        before = (step.hosts, step.unserved)
    return tuple(told)


def _listed(parts: Sequence[str]) -> str:
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def _signed(number: int, noun: str) -> str:
    return f"{counted(abs(number), noun)} {'more' if number > 0 else 'fewer'}"
