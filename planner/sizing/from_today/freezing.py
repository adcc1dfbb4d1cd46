"""A plan that leaves every site where it is, as long as it may stay there, and only adds."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Callable
from typing import Literal, get_args

import numpy as np

from planner.arrays import Floats, as_floats, int_array
from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.identity import last_plan, numbered
from planner.plan import Assignment, Host, Plan, Proof
from planner.rules import Checker
from planner.sizing.best_plan import best_plan
from planner.sizing.from_today.by_host import ByHost, by_host, folded
from planner.sizing.instance.problem import Problem, build_problem
from planner.sizing.plan_rows import round_trip
from planner.sizing.solution.served_aims import Worth, aims_of_worth, as_bounded
from planner.sizing.solvers.budget import Progress


def plan_frozen(
    fleet: Fleet,
    *,
    time_limit: float | None = None,
    seed: int = 0,
    thorough: bool = False,
    watch: Callable[[Progress], bool | None] | None = None,
) -> Plan:
    """Return the best plan in which no site leaves its host of Current while the rules let it stay.

    Sites that Current does not have, or that may not stay (a rule, a host to be emptied or above its cap), are
    planned on what room is left and on as few further hosts as possible. ``lower_bound`` and proof are those of plans
    that may move sites, so the gap is what the freeze costs; a finding says what is proven with the freeze.

    Raises InputError where Current does not name hosts, or the policy splits sites; else as `planner.plan`.
    """
    _refuse(fleet)
    free = best_plan(fleet, time_limit=time_limit, seed=seed, watch=watch)
    split = by_host(fleet)
    checker = Checker(split.fleet)
    problem = build_problem(split.fleet, checker)
    kept = _kept(split, problem)
    load: dict[str, int] = defaultdict(int)
    for row in kept:
        load[row.host] += row.clusters
    rest = _rest(split, kept, load)
    added = best_plan(rest, time_limit=time_limit, seed=seed, thorough=thorough, watch=watch)
    return numbered(_together(split, free, added, kept, load), last_plan(fleet))


def _refuse(fleet: Fleet) -> None:
    findings = []
    if fleet.policy.split_sites:
        message = "split_sites is yes, and Current does not say how many clusters of a site are on which host."
        findings.append(Finding("error", "freeze_split", "Policy", message, "Set split_sites to no."))
    if fleet.policy.cover != "none":
        message = f"cover is {fleet.policy.cover}, which is not planned for frozen assignments."
        findings.append(Finding("error", "freeze_cover", "Policy", message, "Set cover to none, or do not freeze."))
    limits = _limits(fleet)
    if limits:
        message = f"{limits[0]} is given, and limits on hubs, zones and weight are not planned for frozen assignments."
        findings.append(Finding("error", "freeze_limits", "Policy", message, "Leave it blank, or do not freeze."))
    named = fleet.current["host"].astype(bool)
    unnamed = fleet.current["site"][~named].tolist()
    if unnamed:
        shown = ", ".join(unnamed[:5]) + (", ..." if len(unnamed) > 5 else "")
        message = f"the host of {len(unnamed)} sites is blank ({shown}), so that it is not known where they stay."
        findings.append(Finding("error", "freeze_unnamed", "Current", message, "Fill in the column host."))
    if findings:
        raise InputError(tuple(findings))


def _limits(fleet: Fleet) -> list[str]:
    """Return what limits hubs, zones or the weight on hosts; a share that comes to clusters is a cap."""
    names = ["max_blast_radius_hub", "max_blast_radius_zone", "max_share_percent_hub", "max_share_percent_zone"]
    if fleet.clusters_per_weight is None:
        names.append("max_share_percent")
    stated = [name for name in names if getattr(fleet.policy, name) is not None]
    return [*stated, *(limit.said() for limit in fleet.joint_host_limits)]


def _kept(split: ByHost, problem: Problem) -> list[Assignment]:
    """Return the assignments of Current that the rules still allow."""
    fleet, pools = split.fleet, split.split_pools
    today = dict(zip(fleet.current["site"], fleet.current["host"], strict=True))
    kept = []
    for s, at in enumerate(problem.site_at):
        site = fleet.site_ids[at]
        pairs = problem.pairs_of(s)
        pool = pools.get(today.get(site, ""))
        for e, p in enumerate(problem.pool_at[problem.pool[pairs]].tolist(), pairs.start):
            if fleet.pool_ids[p] == pool:
                assignment = Assignment(
                    site=site,
                    host=today[site],
                    hub=fleet.pools["hub"].iloc[p],
                    clusters=int(problem.clusters[s]),
                    budget_ms=float(fleet.budgets_ms[at]),
                    action="keep",
                    **round_trip(problem, e),
                )
                kept.append(assignment)
    return _within_caps(split, kept)


def _within_caps(split: ByHost, kept: list[Assignment]) -> list[Assignment]:
    """Return ``kept`` without what is too much for a host: the largest sites go, so that the fewest do."""
    usable = dict(zip(split.fleet.pool_ids, split.fleet.usable_caps.tolist(), strict=True))
    room = {host: usable[pool] for pool, host in split.host.items()}
    stay = []
    for row in sorted(kept, key=lambda row: (row.clusters, row.rtt_ms, row.site)):
        if row.clusters <= room[row.host]:
            room[row.host] -= row.clusters
            stay.append(row)
    return sorted(stay, key=lambda row: row.site)


def _rest(split: ByHost, kept: list[Assignment], load: dict[str, int]) -> Fleet:
    """Return the fleet of the other sites, with the room that is left and a price only on hosts that are added."""
    fleet = split.fleet
    policy, pools = fleet.policy, fleet.pools.copy()
    money = policy.objective == "cost"
    hosts = [split.host.get(pool, "") for pool in fleet.pool_ids]
    loads = int_array([load.get(host, 0) for host in hosts])
    room = np.maximum(fleet.usable_caps - loads, 0)
    most = np.where(room > 0, fleet.max_hosts, 0)
    pools["cluster_cap"] = as_floats(np.maximum(room, 1))
    pools["max_hosts"] = as_floats(most + fleet.retiring_of_pool)
    # Of the rest of a pool the existing hosts are free, which objective new_hosts counts itself.
    price = fleet.host_costs if money else 1.0
    pools["host_cost"] = np.where(loads > 0, 0.0, price)
    pools["uplink_mbps"] = _uplinks_mbps(fleet, kept)
    thawed = ~np.isin(fleet.site_ids, [row.site for row in kept])
    sites = fleet.sites[thawed].reset_index(drop=True)
    # What buying costs is in these figures too, so the sheet Prices is not to add it again.
    own = fleet.own_tie_breaker_costs[thawed]
    sites["own_tie_breaker_cost"] = own if money else 1e-3  # less than any host, not for nothing
    objective: Literal["new_hosts", "cost"] = "new_hosts" if policy.objective == "new_hosts" else "cost"
    unlimited = policy.replace(reserve_percent=0.0, max_blast_radius=None, max_share_percent=None)
    return fleet.replace(
        sites=sites,
        pools=pools,
        latency=fleet.latency if money else fleet.latency.assign(pair_cost=np.nan),
        prices=fleet.prices.iloc[:0],
        policy=unlimited.replace(objective=objective),
    )


def _uplinks_mbps(fleet: Fleet, kept: list[Assignment]) -> Floats:
    """Return what ``kept`` leaves of the uplink of each pool's hub, shape (P,), NaN for no limit."""
    traffic = dict(zip(fleet.site_ids, fleet.traffic_kbps.tolist(), strict=True))
    used: dict[str, float] = defaultdict(float)
    for row in kept:
        used[row.hub] += traffic[row.site]
    of_hub = np.array([used[hub] for hub in fleet.hub_ids])
    left_kbps = fleet.hub_uplinks_kbps - of_hub
    of_pool = left_kbps[fleet.hub_of_pool]
    return np.where(np.isfinite(of_pool), of_pool / 1000, np.nan)


def _together(split: ByHost, free: Plan, added: Plan, kept: list[Assignment], load: dict[str, int]) -> Plan:
    """Return one plan of what is kept and what is added."""
    fleet = split.original
    clusters: dict[str, int] = defaultdict(int, load)
    for row in added.assignments:
        clusters[row.host] += row.clusters
    known = {host.host for host in added.host_list}
    releases = dict(zip(split.fleet.pool_ids, split.fleet.host_releases, strict=True))
    hubs = dict(zip(split.fleet.pool_ids, split.fleet.pools["hub"], strict=True))
    hosts = [dataclasses.replace(host, clusters=clusters[host.host]) for host in added.host_list]
    for name in sorted(load.keys() - known):
        pool = split.split_pools[name]
        hosts.append(Host(name, hubs[pool], pool, releases[pool], load[name], 0, 0, True))
    both = *kept, *added.assignments
    rows = tuple(sorted(both, key=lambda a: (a.site, a.host)))
    plan = folded(split, added.replace(host_list=tuple(hosts), assignments=rows))
    value = _value(fleet, plan, added, kept)
    left_out = {u.site for u in added.unserved}
    bare = {u.site for u in added.uncovered}
    same = left_out == {u.site for u in free.unserved}
    bound = min(value, free.lower_bound) if same else 0.0
    words = f"{len(kept)} sites stay where they are, and were not looked at again."
    if added.proves(added.objective):
        words += " Proven: with these assignments frozen no plan that serves the same sites does better."
    note = Finding("info", "frozen", "Current", words)
    unbounded = dict.fromkeys(get_args(Worth), 0.0)
    before = as_bounded(aims_of_worth(fleet, left_out, bare, unbounded), free.before)
    placed = {row.site for row in rows}
    spared = {one for one in free.no_host_needed if one.site not in placed}
    spared.update(plan.no_host_needed)
    return free.replace(
        before=before,
        objective_value=value,
        lower_bound=bound,
        host_list=plan.host_list,
        assignments=rows,
        unserved=added.unserved,
        no_host_needed=tuple(sorted(spared, key=lambda n: n.site)),
        proof=free.proof if same else Proof("none", words),
        then=(),
        findings=(*free.findings, note),
    ).rated()


def _value(fleet: Fleet, plan: Plan, added: Plan, kept: list[Assignment]) -> float:
    if fleet.policy.objective == "hosts":
        return float(plan.hosts)
    if fleet.policy.objective == "new_hosts":
        return float(sum(not host.existing for host in plan.host_list))
    prices = dict(zip(fleet.pool_ids, fleet.host_costs.tolist(), strict=True))
    frozen = {row.host for row in kept}
    costs = fleet.latency[["site", "hub", "pair_cost"]].fillna({"pair_cost": 0.0})
    of_pair = {(site, hub): cost for site, hub, cost in costs.itertuples(index=False)}
    standing = [host.pool for host in plan.host_list if host.host in frozen]
    hosts = sum(prices[pool] for pool in standing)
    used = [(row.site, row.hub) for row in kept]
    pairs = sum(of_pair.get(pair, 0.0) for pair in used)
    return float(added.objective_value + hosts + pairs)
