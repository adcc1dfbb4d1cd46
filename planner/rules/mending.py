"""What would make a pool eligible for a site: for each broken rule the cell to change, or what to do in the world."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from planner.fleet import Fleet
from planner.latency import EVIDENCE
from planner.own import PREFIX

if TYPE_CHECKING:
    from planner.rules import Checker, Rule

_LOOKED_AT = 20  # pools, the nearest first


@dataclass(frozen=True, slots=True)
class Change:
    """One cell or setting to change: ``sheet`` Sites, Hubs (``id`` is the pool) or Policy (``id`` is blank).

    ``before`` is the value in force, also where the cell is blank and a default of the policy applies.
    """

    sheet: Literal["Sites", "Hubs", "Policy"]
    id: str
    column: str
    before: float | str
    after: float | str


@dataclass(frozen=True, slots=True)
class Mend:
    """What would make ``pool``, a position, eligible: ``changes`` of cells, None where cells alone do not do it."""

    pool: int
    changes: tuple[Change, ...] | None
    words: str


def mends(checker: Checker, site: int, rules: Sequence[Rule] | None = None) -> Iterator[Mend]:
    """Yield what would make each pool eligible for ``site``, a position: the fewest broken rules first.

    Among equals the least round-trip time comes first, or the shortest way where no time is known. Pools that must run
    no host, such as those of a hub that is to be emptied, come last. ``rules`` are those that count, all of them by
    default. A pool that breaks none is full: it takes one host more.
    """
    fleet = checker.facts.fleet
    pairs = checker.against(site)
    broken = checker.breaking(pairs) if rules is None else checker.breaking(pairs, rules)
    count = np.zeros(len(fleet.pool_ids), dtype=np.int64)
    for _, kept_out in broken:
        count[kept_out.pool] += 1
    rtt = np.nan_to_num(pairs.rtt_ms, nan=np.inf)
    km = np.nan_to_num(checker.facts.distance_km(pairs), nan=np.inf)
    barred = fleet.stated_max_hosts[pairs.pool] == 0
    for x in np.lexsort((km, rtt, count[pairs.pool], barred)).tolist():
        pool, rtt_ms = int(pairs.pool[x]), float(pairs.rtt_ms[x])
        codes = [rule.code for rule, kept_out in broken if pool in kept_out.pool]
        evidence = EVIDENCE[pairs.evidence[x]] if np.isfinite(rtt_ms) else None
        steps = [_mend(fleet, site, pool, code, rtt_ms, evidence) for code in codes] or [_next_host(checker, pool)]
        changes = tuple(step for step in steps if isinstance(step, Change))
        words = "; ".join(_in_words(step) if isinstance(step, Change) else step for step in steps)
        told = f"To serve {fleet.site_ids[site]} from pool {fleet.pool_ids[pool]}: {words}."
        yield Mend(pool, changes if len(changes) == len(steps) else None, told)


def nearest_mend(checker: Checker, site: int, rules: Sequence[Rule] | None = None) -> str:
    """Return in words the first of `mends` that takes changes of cells only; else the first of all."""
    nearest = None
    for mend in itertools.islice(mends(checker, site, rules), _LOOKED_AT):
        if mend.changes is not None:
            return mend.words
        nearest = nearest or mend
    return "Add a hub." if nearest is None else nearest.words


def _mend(fleet: Fleet, at: int, pool: int, code: str, rtt_ms: float, evidence: str | None) -> Change | str:
    """Return the cell that mends the rule ``code``; where none does, what to do in words."""
    site, name, sites = fleet.site_ids[at], fleet.pool_ids[pool], fleet.sites
    hub = fleet.hub_ids[fleet.hub_of_pool[pool]]
    if code.startswith(PREFIX):
        return f"change your own rule {code.removeprefix(PREFIX)}"
    if code == "latency" and np.isfinite(rtt_ms):
        return Change("Sites", site, "latency_budget_ms", float(fleet.budgets_ms[at]), rtt_ms)
    if code == "release_floor":
        column = "target_release" if sites["target_release"].iloc[at] else "release"  # the one that plans are made for
        return Change("Sites", site, column, str(sites[column].iloc[at]), fleet.policy.release_floor)
    # Under same_major a newer release of the hosts would shut out the sites that they serve now.
    if code == "host_release" and fleet.policy.host_release_rule == "not_older":
        return Change("Hubs", name, "host_release", fleet.host_releases[pool], fleet.site_releases[at])
    if code == "pinned_hub":
        return Change("Sites", site, "pinned_hub", str(sites["pinned_hub"].iloc[at]), hub)
    if code == "barred_hub":
        barred = sites["barred_hubs"].iloc[at]
        left = ";".join(other for other in barred if other != hub)
        return Change("Sites", site, "barred_hubs", ";".join(barred), left)
    if code == "region":
        regions = fleet.pools["serves_regions"].iloc[pool]
        more = (*regions, str(sites["region"].iloc[at]))
        return Change("Hubs", name, "serves_regions", ";".join(regions), ";".join(more))
    if code == "capacity" and _host_would_do(fleet, at, pool):
        return _one_more_host(fleet, pool)
    return {
        "nodes": "correct the column nodes, if its clusters have two data nodes after all",
        "unknown_latency": f"measure the round-trip time to hub {hub}",
        "latency": f"find out why probes to hub {hub} are lost, and measure again",
        "loss": f"repair the network path to hub {hub}, so that fewer probes are lost, and measure again",
        "evidence": f"measure the round-trip time to hub {hub}, which is only {evidence} so far",
        "old_latency": f"measure the round-trip time to hub {hub} again",
        "host_release": f"bring the site and the hosts of pool {name} to releases with the same first number",
        "capacity": f"use a host with room for all {fleet.clusters[at]} clusters, or set split_sites to yes",
        "uplink": f"widen the uplink of hub {hub}, or lower the site's tie-breaker traffic",
        "blast_radius": "raise max_share_percent or the other limits on what one host serves"
        if fleet.policy.split_sites
        else "split the site, or raise max_blast_radius or the other limits on what one host serves",
        "third_location": f"use a hub outside the site's failure zones and far enough away; hub {hub} is not",
    }[code]


def _host_would_do(fleet: Fleet, at: int, pool: int) -> bool:
    """Say whether the pool lacks a host only: the site is not too large for one."""
    fits = fleet.policy.split_sites or fleet.clusters[at] <= fleet.usable_caps[pool]
    return bool(fits and fleet.max_hosts[pool] < 1)


def _next_host(checker: Checker, pool: int) -> Change:
    """Return `_one_more_host`, looked up once for each pool."""
    if pool not in checker.next_host:
        checker.next_host[pool] = _one_more_host(checker.facts.fleet, pool)
    return checker.next_host[pool]


def _one_more_host(fleet: Fleet, pool: int) -> Change:
    """Return the cell that stops the next host of a pool, raised: the limit on hosts that lets the fewest run."""
    here = (limit for limit in fleet.host_limits if pool in limit.pools)
    limit = min(here, key=lambda limit: limit.most // int(limit.each[limit.pools == pool][0]))
    each = int(limit.each[limit.pools == pool][0])
    stated = fleet.pools[limit.column].notna().to_numpy()
    row = next((p for p in (pool, *limit.pools.tolist()) if stated[p]), pool)
    leaving = int(limit.each @ fleet.retiring_of_pool[limit.pools])  # hosts to be emptied keep their place
    before = int(fleet.stated_max_hosts[pool]) if limit.column == "max_hosts" else limit.most + leaving
    return Change("Hubs", fleet.pool_ids[row], limit.column, before, (limit.most // each + 1) * each + leaving)


def _in_words(change: Change) -> str:
    """Say one change as something to do."""
    before, after = (v if isinstance(v, str) else f"{v:.10g}" for v in (change.before, change.after))
    if change.column == "latency_budget_ms":
        more = f"{float(change.after) - float(change.before):.10g}"
        return f"raise its latency budget by {more} ms, from {before} to {after} ms"
    return {
        "release": f"upgrade the site from release {before or '(unknown)'} to {after}",
        "target_release": f"upgrade the site to release {after} instead of {before}",
        "host_release": f"upgrade the hosts of pool {change.id} from release {before} to {after}",
        "pinned_hub": f"pin the site to hub {after} instead of {before}",
        "barred_hubs": f"leave {after or 'nothing'} in the site's barred_hubs instead of {before}",
        "serves_regions": f"let pool {change.id} serve regions {after} instead of {before}",
        "rack_units": f"raise the rack units at the hub of pool {change.id} from {before} to {after}",
        "max_hosts": f"let pool {change.id} run {after} hosts instead of {before}"
        if change.before
        else f"let pool {change.id} run hosts: now it may run none (max_hosts is 0, or it is to be emptied)",
    }[change.column]
