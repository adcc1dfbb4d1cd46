"""Are the hosts those of the fleet's pools, as many as fit, and none fuller than it may be?"""

from __future__ import annotations

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
            yield Violation(
                "host_name", f"host {name}", f"{times} hosts have the name {name!r}" if name else "a host has no name"
            )
    for host in case.plan.host_list:
        where = f"host {host.host}"
        load = case.loads.get(host.host, 0)
        if differs(host.clusters, load):
            text = f"the plan says that it carries {host.clusters} clusters; it assigns {load} to it"
            yield Violation("load", where, text)
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
        yield Violation("hub", where, f"the plan puts it at hub {host.hub}; its pool {pool.pool} is at hub {pool.hub}")
    if host.host in pool.retiring:
        yield Violation(
            "retiring_host",
            where,
            f"it is to be emptied (retiring_hosts), but the plan still uses it, with {load} clusters",
        )
    if load > pool.usable:
        yield Violation(
            "capacity",
            where,
            f"it carries {load} clusters; it may carry {pool.usable} (cap {pool.cap}, less the reserve)",
        )
    for name, claimed, actual in (("cap", host.cap, pool.cap), ("cap without the reserve", host.usable, pool.usable)):
        if differs(claimed, actual):
            yield Violation("claim", where, f"the plan gives {claimed} as its {name}; the fleet gives {actual}")
    if str(host.release or "").strip() != pool.release:
        yield Violation(
            "claim", where, f"the plan gives {host.release!r} as its release; the fleet gives {pool.release!r}"
        )


def _counts(case: Case) -> Iterator[Violation]:
    running = Counter(host.pool for host in case.plan.host_list)
    existing = Counter(host.pool for host in case.plan.host_list if host.existing)
    for limit in case.inventory.host_limits:
        taken = sum(each * running[pool] for pool, each in limit.takes.items())
        if taken > limit.most:
            yield Violation(limit.code, limit.where, f"{taken} {limit.unit}; at most {limit.most} are allowed")
    for pool in case.inventory.pools.values():
        where = f"pool {pool.pool}"
        if existing[pool.pool] > pool.existing_hosts:
            text = f"the plan counts {existing[pool.pool]} hosts as existing; the fleet has {pool.existing_hosts}"
            yield Violation("existing_hosts", where, text)


def _uplinks(case: Case) -> Iterator[Violation]:
    """Add up the tie-breaker traffic at each hub; of pools that state different uplinks the least holds."""
    kbps: dict[str, float] = {}
    for row in case.plan.assignments:
        site, pool = case.inventory.sites.get(row.site), case.pool_of(row.host)
        if site is not None and pool is not None:
            kbps[pool.hub] = kbps.get(pool.hub, 0.0) + site.cluster_kbps * (whole(row.clusters) or 0)
    for hub, traffic in kbps.items():
        uplink = case.inventory.uplink_kbps(hub)
        if traffic > uplink * (1 + RELATIVE_TOLERANCE):
            text = f"its sites send {traffic:.10g} kb/s of tie-breaker traffic; its uplink carries {uplink:.10g} kb/s"
            yield Violation("uplink", f"hub {hub}", text)


def _blast_radii(case: Case) -> Iterator[Violation]:
    """Check what the loss of each host, hub and zone hits; of hosts the weight only, their clusters go with the cap."""
    policy = case.inventory.policy
    limits = {
        kind: (
            getattr(policy, f"max_blast_radius{kind}") if kind else None,
            getattr(policy, f"max_share_percent{kind}"),
        )
        for kind in ("", "_hub", "_zone")
    }
    if not any(limit is not None for pair in limits.values() for limit in pair):
        return
    for (kind, place), (clusters, weight) in _hit(case).items():
        most, percent = limits[kind]
        if most is not None and clusters > most:
            text = f"its loss hits {clusters} clusters; max_blast_radius{kind} allows {most}"
            yield Violation("blast_radius", place, text)
        share = 100 * weight / (case.inventory.whole_weight or 1)
        if percent is not None and share > Fraction(str(percent)) * (1 + Fraction(RELATIVE_TOLERANCE)):
            text = f"its loss hits {float(share):.6g} % of the weight; max_share_percent{kind} allows {percent:g} %"
            yield Violation("blast_radius", place, text)


def _hit(case: Case) -> dict[tuple[str, str], tuple[int, Fraction]]:
    """Return clusters and weight on each host, at each hub and in each zone, of which a hub is one of its own."""
    on_host: dict[str, tuple[int, Fraction]] = {}
    for row in case.plan.assignments:
        site, count = case.inventory.sites.get(row.site), whole(row.clusters) or 0
        if site is not None and case.pool_of(row.host) is not None:
            clusters, weight = on_host.get(row.host, (0, Fraction(0)))
            on_host[row.host] = (clusters + count, weight + site.weight * count / max(1, site.clusters))
    found: dict[tuple[str, str], tuple[int, Fraction]] = {}
    for host, (clusters, weight) in on_host.items():
        pool = case.pool_of(host)
        assert pool is not None  # of the others nothing was added up
        hub = f"hub {pool.hub}"
        zones = sorted({hub, *case.inventory.zones_of_hub(pool.hub)})
        for key in (("", f"host {host}"), ("_hub", hub), *(("_zone", zone) for zone in zones)):
            before = found.get(key, (0, Fraction(0)))
            found[key] = (before[0] + clusters, before[1] + weight)
    return found
