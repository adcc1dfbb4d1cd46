"""Planning one scenario, wherever that runs: in this process, in a worker process or on a cluster."""

from __future__ import annotations

import math
import time
from collections import Counter
from dataclasses import dataclass

import numpy as np

from planner.errors import InputError
from planner.fleet import Fleet
from planner.plan import Plan, moved_sites
from planner.scenarios.certainty import Uncertainty, certainty_of
from planner.scenarios.edits import changed_fleet
from planner.scenarios.runners import Flag
from planner.scenarios.sweep_results import Point, PointFigures, Scenario
from planner.sizing import plan as make_plan


@dataclass(frozen=True, slots=True)
class Options:
    """How every scenario of a sweep is planned; ``time_limit`` is in seconds for each."""

    seed: int = 0
    time_limit: float | None = None
    later_aims: bool = False
    uncertainty: Uncertainty | None = None


@dataclass(frozen=True)
class Shared:
    """What all tasks of a sweep have in common; sent to every worker once."""

    fleet: Fleet
    options: Options


def solve(scenario: Scenario, shared: Shared, stopped: Flag | None = None) -> Point:
    """Return the point of ``scenario``; whatever goes wrong becomes its error.

    ``stopped`` ends the plan early, and so does Ctrl-C in the process of the sweep: the sweep hears of it too.
    """
    began = time.perf_counter()
    try:
        fleet = changed_fleet(shared.fleet, scenario)
        options = shared.options
        if not options.later_aims:
            fleet = fleet.replace(policy=fleet.policy.replace(then=""))
        plan = _planned(fleet, options, stopped)
        seconds = time.perf_counter() - began
        return Point(scenario, figures_of(fleet, plan, shared), seconds=seconds)
    except InputError as error:
        errors = [finding for finding in error.findings if finding.severity == "error"] or list(error.findings)
        return Point(scenario, error=" ".join(map(str, errors)), seconds=time.perf_counter() - began)
    except Exception as error:
        return Point(scenario, error=f"{type(error).__name__}: {error}", seconds=time.perf_counter() - began)


def _planned(fleet: Fleet, options: Options, stopped: Flag | None) -> Plan:
    return make_plan(
        fleet,
        time_limit=options.time_limit,
        seed=options.seed,
        watch=lambda _progress: stopped is None or not stopped.is_set(),
    )


def figures_of(fleet: Fleet, plan: Plan, shared: Shared) -> PointFigures:
    """Return what ``plan`` of the changed ``fleet`` comes to."""
    options = shared.options
    whole = options.later_aims  # else any plan with as few hosts will do, and what is not made small says nothing
    unserved = tuple(one.site for one in plan.unserved)
    weight = dict(zip(fleet.site_ids, fleet.weights, strict=True))
    served = {assignment.site for assignment in plan.assignments}.difference(unserved)
    rtt = [assignment.rtt_ms for assignment in plan.assignments]
    return PointFigures(
        objective=plan.objective,
        value=plan.objective_value,
        bound=plan.lower_bound,
        hosts=plan.hosts,
        new_hosts=sum(not host.existing for host in plan.host_list) if whole or plan.objective == "new_hosts" else None,
        hubs=len({host.hub for host in plan.host_list}) if whole else None,
        served=len(served),
        unserved=unserved,
        unserved_weight=math.fsum(weight[site] for site in unserved),
        weight_proven=plan.proves("served"),
        clusters=sum(host.clusters for host in plan.host_list),
        cost=_cost(fleet, plan) if whole or plan.objective == "cost" else None,
        proof=plan.proof.kind,
        words=plan.proof.words,
        moves=len(moved_sites(fleet, plan)) if whole else None,
        mean_rtt_ms=float(np.mean(rtt)) if whole and rtt else None,
        proven=all(aim.proven for aim in plan.before),
        kept_weight=sum(aim.value for aim in plan.before if aim.aim == "kept_served"),
        left_out_today=sum(one.current is not None for one in plan.unserved),
        uncovered=0 if fleet.policy.cover == "none" else sum(a.standby is None for a in plan.assignments),
        certainty=None if options.uncertainty is None else certainty_of(shared.fleet, fleet, plan, options.uncertainty),
    )


def _cost(fleet: Fleet, plan: Plan) -> float | None:
    """Return the money a year that the plan comes to: its objective where that is cost, else the price of its hosts."""
    if plan.objective == "cost":
        return plan.objective_value
    price = dict(zip(fleet.pool_ids, fleet.host_costs, strict=True))
    total = math.fsum(price[pool] * hosts for pool, hosts in Counter(host.pool for host in plan.host_list).items())
    return None if math.isnan(total) else total
