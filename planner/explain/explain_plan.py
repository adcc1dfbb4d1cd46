"""From a fleet and its plan to an explanation."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from planner.explain.bench import Bench, planned
from planner.explain.explanation import Explanation, PlanMeasures, Suggestion
from planner.explain.levers import levers_that_save
from planner.explain.measure import measure_first
from planner.explain.openings import openings_that_save
from planner.explain.remedies import remedies
from planner.explain.sets import binding_sets
from planner.explain.site import position_of, view_site
from planner.fleet import Fleet
from planner.plan import Plan
from planner.rules import Checker
from planner.sizing import SolveBudget, build_problem


def explain(
    fleet: Fleet,
    plan: Plan | None = None,
    *,
    site: str | None = None,
    time_limit: float | None = 60.0,
    seed: int = 0,
    tell: Callable[[str], None] | None = None,
) -> Explanation:
    """Return why ``plan`` is as it is: for ``site`` if given, else why not fewer hosts and what would help most.

    ``plan`` is a plan of ``fleet``; it is made if None. With ``site`` nothing else is explained: every pool is
    eligible or names each rule that keeps the site out. Without, every suggestion was found by solving and tried by
    planning the changed fleet; those that a plan confirms come first in order of sites and pools touched, then of
    size. Others are left out unless there is none for the same goal. ``time_limit`` in seconds is shared by all of
    it; at the limit, or at Ctrl-C in the main thread, what was found so far comes back. ``tell`` is called with
    words on what is being tried.

    Raises InputError for a ``site`` that the fleet does not have, and what `planner.plan` raises.
    """
    budget = SolveBudget(seconds=time_limit, seed=seed)
    if site is not None:
        position_of(fleet, site)
    tell = tell or _silent
    checker = Checker.of(fleet)
    with budget.listening():
        if plan is None:
            tell("the plan itself")
            plan = planned(fleet, budget, tell)
        if site is not None:
            return Explanation(PlanMeasures.of(plan), plan, site=view_site(fleet, checker, plan, site))
        bench = Bench(fleet, plan, checker, build_problem(fleet, checker), budget, tell)
        if left_out := plan.proof.details.get("left_out"):
            bench.notes.append(str(left_out))
        found = _suggestions(bench)
        measure = measure_first(bench)
    if budget.spent:
        bench.notes.append("Time ended before everything was tried. More or smaller changes may help as well.")
    # What a plan has confirmed counts more than what the rules alone suggest.
    confirmed = {s.site: s.words for s in found if s.goal == "serve" and s.confirmed}
    return Explanation(
        figures=bench.before,
        plan=plan,
        proof=plan.proof.words,
        sets=binding_sets(plan, len(fleet.pool_ids)),
        unserved=tuple(dataclasses.replace(u, remedy=confirmed.get(u.site, u.remedy)) for u in plan.unserved),
        suggestions=_ranked(found),
        measure_first=measure,
        notes=tuple(bench.notes),
    )


def _silent(_words: str) -> None:
    """Take words and do nothing."""


def _suggestions(bench: Bench) -> list[Suggestion]:
    found = remedies(bench)
    if bench.fleet.policy.objective == "cost":
        bench.notes.append("Changes that would save money were not searched, because the objective is cost.")
    elif bench.counted > 0:
        found += openings_that_save(bench)
        found += levers_that_save(bench)
    return found


def _ranked(found: list[Suggestion]) -> tuple[Suggestion, ...]:
    """Return suggestions in order of effort; unconfirmed ones only where a goal has no other."""
    sure = {(s.goal, s.site) for s in found if s.confirmed}
    kept = [s for s in found if s.confirmed or (s.goal, s.site) not in sure]
    return tuple(sorted(kept, key=lambda s: (not s.confirmed, s.touched, s.size, s.words)))
