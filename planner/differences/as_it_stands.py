"""The sheet Current of a fleet as a plan, so that it can be compared with one."""

from __future__ import annotations

from collections import Counter, defaultdict

import numpy as np

from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.latency import EVIDENCE, resolve
from planner.plan import Assignment, Host, NoHostNeeded, Plan, Reason, Unserved
from planner.running import running_hosts
from planner.version import VERSION


def plan_in_force(fleet: Fleet) -> Plan:
    """Return what serves the sites of ``fleet`` today, by its sheet Current, with the round-trip times of today.

    It claims nothing: neither that it keeps the rules nor that it is small. A pair without a known round-trip time is
    left out, as is a row whose host is not named. Raises InputError where no row names a host.
    """
    running = running_hosts(fleet)
    assignments = _assignments(fleet)
    if not assignments:
        message = "no row names a site of the fleet, its host and a hub with a known round-trip time."
        raise InputError((Finding("error", "current_names_no_host", "Current", message, "Fill in the column host."),))
    served = {row.site for row in assignments}
    load: Counter[tuple[str, str]] = Counter()
    for row in assignments:
        load[row.hub, row.host] += row.clusters
    hosts = tuple(_host(fleet, hub, host, running.pool[hub, host], n) for (hub, host), n in sorted(load.items()))
    without = (Reason("current", "the sheet Current names no host for it"),)
    needs = zip(fleet.site_ids, fleet.clusters.tolist(), fleet.needs_host.tolist(), strict=True)
    left = [(site, clusters, need) for site, clusters, need in needs if site not in served]
    return Plan(
        status="feasible",
        objective="hosts",
        objective_value=float(len(hosts)),
        lower_bound=0.0,
        host_list=hosts,
        assignments=assignments,
        unserved=tuple(Unserved(site, clusters, without) for site, clusters, need in left if need),
        no_host_needed=tuple(
            NoHostNeeded(site, "own_tie_breaker" if clusters else "no_clusters")
            for site, clusters, need in left
            if not need
        ),
        sources=fleet.sources,
        version=VERSION,
    )


def _assignments(fleet: Fleet) -> tuple[Assignment, ...]:
    known = resolve(fleet)
    names = (np.array(fleet.site_ids, dtype=object)[known.site], np.array(fleet.hub_ids, dtype=object)[known.hub])
    rtt = {pair: at for at, pair in enumerate(zip(*(part.tolist() for part in names), strict=True))}
    clusters = dict(zip(fleet.site_ids, fleet.clusters.tolist(), strict=True))
    budgets = dict(zip(fleet.site_ids, fleet.budgets_ms.tolist(), strict=True))
    hosts: dict[str, list[tuple[str, str]]] = defaultdict(list)
    table = fleet.current
    known_hosts = running_hosts(fleet).pool
    for site, hub, host in zip(table["site"], table["hub"], table["host"], strict=True):
        if (hub, host) in known_hosts and (site, hub) in rtt and np.isfinite(known.rtt_ms[rtt[site, hub]]):
            hosts[site].append((hub, host))
    return tuple(
        Assignment(
            site=site,
            host=host,
            hub=hub,
            clusters=part,
            rtt_ms=float(known.rtt_ms[rtt[site, hub]]),
            budget_ms=budgets[site] if np.isfinite(budgets[site]) else float(known.rtt_ms[rtt[site, hub]]),
            evidence=EVIDENCE[int(known.evidence[rtt[site, hub]])],
            action="keep",
        )
        for site in sorted(hosts)
        for (hub, host), part in zip(hosts[site], _parts(clusters[site], len(hosts[site])), strict=True)
    )


def _parts(clusters: int, hosts: int) -> list[int]:
    """Return clusters in as even parts as can be; the sheet Current does not say how they are split."""
    return [clusters // hosts + (at < clusters % hosts) for at in range(hosts)]


def _host(fleet: Fleet, hub: str, host: str, pool: str, clusters: int) -> Host:
    at = fleet.pool_ids.index(pool)
    return Host(
        host=host,
        hub=hub,
        pool=pool,
        release=fleet.host_releases[at],
        clusters=clusters,
        cap=int(fleet.cluster_caps[at]),
        usable=int(fleet.usable_caps[at]),
        existing=True,
    )
