"""When the next host is needed, which sites make it so, and what would put it off."""

from __future__ import annotations

import datetime as dt

import numpy as np

from planner.fleet import Fleet, Ints
from planner.latency import resolve
from planner.rules import Checker
from planner.scenarios.horizon.calendar import event_days, fleet_in
from planner.scenarios.horizon.demand import Demand
from planner.scenarios.horizon.horizon_steps import NextHost
from planner.scenarios.horizon.orders import ordered_by
from planner.sizing import Flow, Problem, build_problem, group, hall_conditions, restrict

_NAMED = 4


def next_host(fleet: Fleet, demands: list[Demand], hosts: Ints, bought: Ints, existing: Ints) -> NextHost | None:
    """Return the first purchase of the plan with hosts and purchases (T, P) and its reason; None when there is none."""
    t = next((t for t in range(len(demands)) if bought[t].any()), None)
    if t is None:
        return None
    demand = demands[t]
    before = hosts[t - 1] if t else existing
    day = _first_short_day(fleet, demand, before)
    flow, there, problem = (
        _short(fleet, day, day, before, demand)
        or _short(fleet, demand.period.first, demand.period.last, before, demand)
        or (None, demand.fleet, demand.problem)
    )
    pools = [demand.fleet.pool_ids[at] for at in demand.problem.pool_at]
    wanted = [(pools[p], int(n)) for p, n in enumerate(bought[t]) if n]
    due = min((last for _, last in ordered_by(demand.fleet, wanted, day)), default=None)
    where = tuple(f"{n} at {pool}" for pool, n in wanted)
    if flow is None:
        later = "It is bought for later periods, or for sites that must stay together on one host."
        return NextHost(demand.period.name, day, where, later, (), due)
    words, delays = _why(there, problem, flow)
    return NextHost(demand.period.name, day, where, words, delays, due)


def _first_short_day(fleet: Fleet, demand: Demand, hosts: Ints) -> dt.date:
    """Return the first day of the period on which ``hosts`` do not do; its first day where no single day shows it.

    Days on which something happens are looked through by halving, as if what is short once stayed so.
    """
    first, last = demand.period.first, demand.period.last
    days = [first, *event_days(fleet, first, last)]
    if _short(fleet, days[-1], days[-1], hosts, demand) is None:
        return first
    low, high = -1, len(days) - 1
    while high - low > 1:
        middle = (low + high) // 2
        if _short(fleet, days[middle], days[middle], hosts, demand) is None:
            low = middle
        else:
            high = middle
    return days[high]


def _short(
    fleet: Fleet, first: dt.date, last: dt.date, hosts: Ints, demand: Demand
) -> tuple[Flow, Fleet, Problem] | None:
    """Return the flow that does not carry all sites between two days, with its fleet; None when ``hosts`` do."""
    there = fleet_in(fleet, first, last)
    problem = build_problem(there, Checker(there))
    lost = set(demand.unserved)
    problem = restrict(problem, np.array([there.site_ids[s] not in lost for s in problem.site_at], dtype=np.bool_))
    now = np.minimum(hosts, problem.max_hosts)
    for condition in hall_conditions(problem, group(problem, by_weight=False)):
        flow = condition.flow(now)
        if flow.missing:
            return flow, there, problem
    return None


def _why(fleet: Fleet, problem: Problem, flow: Flow) -> tuple[str, tuple[str, ...]]:
    """Return the sites that lack room in a sentence, and what would put the host off."""
    condition, kinds = flow.condition, len(flow.condition.demand)
    side = flow.source_side
    classes = np.flatnonzero(side[:kinds] & (condition.demand > 0))
    pools = np.flatnonzero(side[kinds : kinds + problem.pools])
    asked = int(condition.demand[classes].sum())
    room = asked - flow.missing
    sites = np.flatnonzero(np.isin(condition.classes.of_site, classes))
    names = [fleet.site_ids[problem.site_at[s]] for s in sites]
    noun = "clusters" if condition.size == 1 else f"sites of {condition.size} or more clusters"
    reach = ", ".join(fleet.pool_ids[problem.pool_at[p]] for p in pools[:_NAMED]) + (
        ", …" if len(pools) > _NAMED else ""
    )
    told = ", ".join(names[:_NAMED]) + (", …" if len(names) > _NAMED else "")
    words = f"{asked:,} {noun} ({told}) can use only {reach or 'no pool'}, with room for {room:,} of them."
    few = noun.replace("clusters", "cluster", 1) if flow.missing == 1 and condition.size == 1 else noun
    delays = [f"If these {len(names):,} sites had {flow.missing:,} {few} fewer than planned, the next host could wait."]
    spare = flow.spare
    delays += _nearly(fleet, problem, sites, np.flatnonzero((spare > 0) & ~side[kinds : kinds + problem.pools]))
    return words, tuple(delays)


def _nearly(fleet: Fleet, problem: Problem, sites: Ints, free: Ints) -> list[str]:
    """Return the sites that miss a pool with spare room by the least latency."""
    known = resolve(fleet)
    hub_free = {int(problem.hub[p]): fleet.pool_ids[problem.pool_at[p]] for p in free}
    asking = {int(problem.site_at[s]) for s in sites}
    over = [
        (float(rtt - fleet.budgets_ms[site]), fleet.site_ids[site], hub_free[int(hub)])
        for site, hub, rtt in zip(known.site, known.hub, known.rtt_ms, strict=True)
        if int(site) in asking and int(hub) in hub_free and rtt > fleet.budgets_ms[site]
    ]
    return [
        f"Pool {pool} has room, but site {site} is {excess:.1f} ms above its latency budget there."
        for excess, site, pool in sorted(over)[:_NAMED]
    ]
