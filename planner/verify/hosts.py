"""Are the hosts those of the fleet's pools, as many as fit, and none fuller than it may be?"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

from planner.plan import Host
from planner.verify.case import Case
from planner.verify.inventory import Pool
from planner.verify.violation import RELATIVE_TOLERANCE, Violation, differs, whole


def check_hosts(case: Case) -> Iterator[Violation]:
    """Check each host, then each pool."""
    names = Counter(host.host for host in case.plan.host_list)
    for name, times in names.items():
        if not name or times > 1:
            yield Violation("host_name", f"host {name}", f"{times} hosts are called {name!r}")
    for host in case.plan.host_list:
        where = f"host {host.host}"
        load = case.loads.get(host.host, 0)
        if differs(host.clusters, load):
            yield Violation("load", where, f"said to carry {host.clusters} clusters, its assignments add up to {load}")
        pool = case.inventory.pools.get(host.pool)
        if pool is None:
            yield Violation("unknown_pool", where, f"the fleet has no pool {host.pool}")
        else:
            yield from _against_pool(host, load, pool)
    yield from _counts(case)
    yield from _uplinks(case)
    yield from _blast_radii(case)


def _against_pool(host: Host, load: int, pool: Pool) -> Iterator[Violation]:
    where = f"host {host.host}"
    if host.hub != pool.hub:
        yield Violation("hub", where, f"stands at hub {host.hub}, but pool {pool.pool} is at {pool.hub}")
    if host.host in pool.retiring:
        yield Violation("retiring_host", where, f"is to be emptied, and carries {load} clusters")
    if load > pool.usable:
        yield Violation("capacity", where, f"carries {load} clusters, may carry {pool.usable} (cap {pool.cap})")
    for name, claimed, actual in (("cap", host.cap, pool.cap), ("usable cap", host.usable, pool.usable)):
        if differs(claimed, actual):
            yield Violation("claim", where, f"{name} {claimed}, the fleet says {actual}")
    if str(host.release or "").strip() != pool.release:
        yield Violation("claim", where, f"release {host.release!r}, the fleet says {pool.release!r}")


def _counts(case: Case) -> Iterator[Violation]:
    running = Counter(host.pool for host in case.plan.host_list)
    existing = Counter(host.pool for host in case.plan.host_list if host.existing)
    for pool in case.inventory.pools.values():
        where = f"pool {pool.pool}"
        if running[pool.pool] > pool.max_hosts:
            yield Violation("max_hosts", where, f"{running[pool.pool]} hosts run, {pool.max_hosts} fit")
        if existing[pool.pool] > pool.existing_hosts:
            text = f"{existing[pool.pool]} hosts are called existing, {pool.existing_hosts} exist"
            yield Violation("existing_hosts", where, text)


def _uplinks(case: Case) -> Iterator[Violation]:
    """Add up the tie-breaker traffic at each hub; of pools that state different uplinks the least holds."""
    kbps: dict[str, float] = {}
    for row in case.plan.assignments:
        site, pool = case.inventory.sites.get(row.site), case.pool_of(row.host)
        if site is not None and pool is not None:
            kbps[pool.hub] = kbps.get(pool.hub, 0.0) + site.cluster_kbps * (whole(row.clusters) or 0)
    for hub, traffic in kbps.items():
        stated = (pool.uplink_mbps * 1000 for pool in case.inventory.pools.values() if pool.hub == hub)
        uplink = min(stated, key=_known)
        if traffic > uplink * (1 + RELATIVE_TOLERANCE):
            text = f"tie-breaker traffic of {traffic:.10g} kb/s exceeds the uplink of {uplink:.10g} kb/s"
            yield Violation("uplink", f"hub {hub}", text)


def _blast_radii(case: Case) -> Iterator[Violation]:
    """Add up clusters and weight on each host, at each hub and in each zone, of which a hub is one of its own."""
    policy, whole_weight = case.inventory.policy, case.inventory.whole_weight
    clusters: dict[tuple[str, str], int] = {}
    weight: dict[tuple[str, str], Fraction] = {}
    for row in case.plan.assignments:
        site, pool, count = case.inventory.sites.get(row.site), case.pool_of(row.host), whole(row.clusters) or 0
        if site is None or pool is None:
            continue
        hub = f"hub {pool.hub}"
        zones = {hub, *case.inventory.zones_of_hub(pool.hub)}
        for hit in (("", f"host {row.host}"), ("_hub", hub), *(("_zone", zone) for zone in zones)):
            clusters[hit] = clusters.get(hit, 0) + count
            weight[hit] = weight.get(hit, Fraction(0)) + site.weight * count / max(1, site.clusters)
    for (kind, place), count in clusters.items():
        most, percent = getattr(policy, f"max_blast_radius{kind}"), getattr(policy, f"max_share_percent{kind}")
        if kind and most is not None and count > most:  # the clusters on a host are checked with its cap
            yield Violation("blast_radius", place, f"its loss hits {count} clusters, max_blast_radius{kind} is {most}")
        share = 100 * weight[kind, place] / (whole_weight or 1)
        if percent is not None and share > Fraction(str(percent)) * (1 + Fraction(RELATIVE_TOLERANCE)):
            text = f"its loss hits {float(share):.6g} % of the weight, max_share_percent{kind} is {percent:g} %"
            yield Violation("blast_radius", place, text)


def _known(kbps: float) -> float:
    return math.inf if math.isnan(kbps) else kbps
