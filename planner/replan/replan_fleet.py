"""The plan with the fewest moves between hosts among those with the fewest hosts, or with a few hosts more."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from planner.counted_words import counted
from planner.fleet import Finding, Fleet
from planner.interrupts import heard
from planner.plan import Aim, Plan, moved_sites
from planner.replan.by_host import ByHost, by_host, folded
from planner.sizing import MoveModel, Progress, SolveBudget
from planner.sizing import plan as make_plan

_SEARCH_S = 60.0  # for the fewest moves, where the caller gives no limit
_THOROUGH = 10  # times as long


def replan(
    fleet: Fleet,
    *,
    extra_hosts: int = 0,
    time_limit: float | None = None,
    seed: int = 0,
    thorough: bool = False,
    watch: Callable[[Progress], bool | None] | None = None,
) -> Plan:
    """Return a plan as `planner.plan` does, in which a change of host within a pool counts as a move too.

    Objective, bound and proof are those of `planner.plan`, and so is who is served. Where hosts are the objective and
    no cover is asked for, moves come before all other aims: a mixed-integer model finds the fewest for so many hosts
    and ``extra_hosts`` more among plans that serve the same sites, and ``then`` has the bound. Else the plan of the
    fleet with each host in use as a pool of its own is taken where it moves fewer sites, ``extra_hosts`` is not used,
    and a finding says so. Other arguments, and errors, are those of `planner.plan`.
    """
    began = time.monotonic()
    stopped = threading.Event()
    with heard(stopped.set):
        first = make_plan(fleet, time_limit=time_limit, seed=seed, thorough=thorough, watch=watch)
    if not moved_sites(fleet, first):
        return first
    why = "the search was interrupted" if stopped.is_set() else _not_modelled(fleet, first)
    if stopped.is_set() or fleet.policy.split_sites or not first.proves(first.objective):
        return _not_settled(fleet, first, why, extra_hosts)
    left = None if time_limit is None else max(0.0, time_limit - (time.monotonic() - began))
    split = by_host(fleet)
    if not why:
        seconds = left if left is not None else _SEARCH_S * (_THOROUGH if thorough else 1)
        budget = SolveBudget(seconds=seconds, seed=seed, watch=watch)
        return _fewest(first, split, first.hosts + extra_hosts, budget)
    second = make_plan(split.fleet, time_limit=left, seed=seed, thorough=thorough, watch=watch)
    return _not_settled(fleet, _better(fleet, first, folded(split, second)), why, extra_hosts)


def _not_modelled(fleet: Fleet, plan: Plan) -> str:
    """Return why the model of fewest moves does not know the case; "" where it does."""
    if fleet.policy.split_sites:
        return "sites may be split over hosts"
    if not plan.proves(plan.objective):
        return "the hosts themselves are not proven fewest"
    if plan.objective != "hosts":
        return f"the objective is {plan.objective}"
    return "" if fleet.policy.cover == "none" else f"the policy asks for cover {fleet.policy.cover}"


def _not_settled(fleet: Fleet, plan: Plan, why: str, extra_hosts: int) -> Plan:
    """Return ``plan`` with a finding that fewer moves may do, and that further hosts were not tried."""
    changed = len(moved_sites(fleet, plan))
    if not changed:
        return plan
    words = f"{counted(changed, 'move')}. Whether fewer would do is not settled, since {why}."
    findings = [Finding("info", "moves_not_proven", "Current", words)]
    if extra_hosts:
        words = f"Whether {counted(extra_hosts, 'more host')} would save moves was not tried, since {why}."
        findings.append(Finding("warning", "extra_hosts_unused", "Current", words))
    return plan.replace(findings=(*plan.findings, *findings))


def _fewest(first: Plan, split: ByHost, most_hosts: int, budget: SolveBudget) -> Plan:
    """Return ``first`` with hosts and assignments that move the fewest sites, as far as time allows."""
    model = MoveModel(split.fleet, {entry.site for entry in first.unserved})
    with budget.listening():
        found = model.solve(most_hosts, budget)
        if found.sized is None:
            return _not_settled(split.original, first, "time was up", most_hosts - first.hosts)
        changed, hosts, rows, spared = model.named(found.sized, budget)
    second = folded(split, first.replace(host_list=hosts, assignments=rows, no_host_needed=spared))
    if len(hosts) <= first.hosts and changed > len(moved_sites(split.original, first)):
        return first
    level = Aim("moves", float(changed), float(found.bound), changed <= found.bound)
    return second.replace(objective_value=float(len(hosts)), then=(level,)).rated()


def _better(fleet: Fleet, first: Plan, second: Plan) -> Plan:
    """Return ``first`` with hosts and assignments of ``second`` where these are as good and move fewer sites."""
    if {u.site for u in first.uncovered} != {u.site for u in second.uncovered}:
        return first
    left_out = [{(u.site, u.clusters) for u in plan.unserved} for plan in (first, second)]
    spared = [set(plan.no_host_needed) for plan in (first, second)]
    if left_out[0] != left_out[1] or spared[0] != spared[1]:
        return first
    if _value(second) > first.objective_value * (1 + 1e-9):
        return first
    if len(moved_sites(fleet, second)) > len(moved_sites(fleet, first)):
        return first
    return first.replace(host_list=second.host_list, assignments=second.assignments, then=second.then)


def _value(plan: Plan) -> float:
    """Return the objective as `folded` leaves it: which hosts exist may have changed."""
    return float(sum(not h.existing for h in plan.host_list)) if plan.objective == "new_hosts" else plan.objective_value
