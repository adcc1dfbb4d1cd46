"""What each period asks for: the sizing problem of the sites that can be served, and its own fewest hosts."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from planner.errors import InputError
from planner.fleet import Finding, Fleet, Ints
from planner.rules import Checker
from planner.scenarios.horizon.calendar import fleet_in
from planner.scenarios.horizon.horizon_steps import Period
from planner.sizing import (
    Classes,
    Cut,
    HallCondition,
    Problem,
    SolveBudget,
    build_problem,
    group,
    hall_conditions,
    incumbent_pairs,
    placed,
    restrict,
    size,
    today_of,
)


@dataclass(frozen=True)
class Demand:
    """One period as the model sees it. ``problem`` holds only sites that are served.

    ``own_hosts`` (P,) is a plan for this period alone and ``least`` its proven minimum; ``unserved`` are site ids that
    no host can take; ``incumbent`` (E,) marks the pairs of today's assignment.
    """

    period: Period
    fleet: Fleet
    problem: Problem
    classes: Classes
    conditions: tuple[HallCondition, ...]
    cuts: tuple[Cut, ...]
    own_hosts: Ints
    least: int
    least_proven: bool
    unserved: tuple[str, ...]
    incumbent: np.ndarray
    served_proven: bool


def demand_of(fleet: Fleet, period: Period, budget: SolveBudget) -> Demand:
    """Return what ``period`` asks for. Raises InputError where it asks for what the horizon does not model."""
    there = fleet_in(fleet, period.first, period.last)
    _refuse_unmodelled(there, period)
    checker = Checker(there)
    problem = build_problem(there, checker)
    if problem.limited:
        raise _unmodelled(period, f"{problem.limits_said[0]} limits the plan", "Leave that limit blank.")
    wanted = checker.needs_host.copy()
    wanted[problem.site_at] = False
    lost = [there.site_ids[s] for s in np.flatnonzero(wanted)]
    sized = size(problem, budget)
    served_proven = sized.weight_proven
    if sized.counts.unserved.any():
        none = np.zeros(len(problem.pool), dtype=np.bool_)
        crowded = placed(problem, sized, none, ("latency",)).unserved
        lost += [there.site_ids[problem.site_at[s]] for s in np.flatnonzero(crowded)]
        problem = restrict(problem, ~crowded)
        sized = size(problem, budget)
    classes = group(problem, by_weight=False)
    found = hall_conditions(problem, classes)
    cuts = [condition.cut(np.flatnonzero(condition.demand)) for condition in found if condition.demand.any()]
    own = set(there.sites["site"][(fleet_possible(fleet, there))])
    return Demand(
        period=period,
        fleet=there,
        problem=problem,
        classes=classes,
        conditions=found,
        cuts=(*cuts, *(sized.cuts or ())),
        own_hosts=sized.counts.hosts,
        least=round(sized.bound),
        least_proven=sized.bound >= sized.value,
        unserved=tuple(sorted(site for site in lost if site not in own)),
        incumbent=incumbent_pairs(there, problem, today_of(there, problem)),
        served_proven=served_proven,
    )


def fleet_possible(fleet: Fleet, there: Fleet) -> np.ndarray:
    """Mark the sites of ``there`` whose own tie-breaker is possible in ``fleet``: they have one where no host does."""
    possible = {site for site, own in zip(fleet.site_ids, fleet.own_tie_breaker, strict=True) if own == "possible"}
    return np.array([site in possible for site in there.site_ids], dtype=np.bool_)


def _refuse_unmodelled(fleet: Fleet, period: Period) -> None:
    if fleet.policy.cover != "none":
        raise _unmodelled(period, "the policy asks for cover", "Set cover to none, and keep a reserve instead.")


def _unmodelled(period: Period, what: str, hint: str) -> InputError:
    message = f"In {period.name} {what}, which the horizon does not model."
    return InputError((Finding("error", "horizon_unmodelled", "", message, hint),))


def with_hosts(problem: Problem, hosts: Ints) -> Problem:
    """Return the problem in which no pool may run more than ``hosts`` (P,)."""
    return dataclasses.replace(problem, max_hosts=hosts)
