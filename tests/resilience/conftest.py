"""Small fleets with plans made by hand, standbys included, and random ones for comparisons with brute force."""

from __future__ import annotations

import random

import pytest

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.plan import Assignment, Host, Plan, Unserved

ALL_KNOWN = {
    "node_availability_percent": 99.0,
    "site_uplink_availability_percent": 98.0,
    "host_availability_percent": 97.0,
    "hub_availability_percent": 99.5,
    "hub_uplink_availability_percent": 98.5,
}


class Builder:
    """A fleet and a plan from a short notation: hosts by hub, and (clusters, host, standby) by site."""

    def __init__(self, hosts, rows, *, cap=10, zones=None, site_zones=None, unserved=(), policy=None, rtt=10.0):
        self.hosts = [(host, hub) for hub, names in hosts.items() for host in names]
        hubs = list(hosts)
        sites = [*dict.fromkeys(site for site, *_ in rows), *unserved]
        clusters = {site: sum(k for other, k, *_ in rows if other == site) or 1 for site in sites}
        self.fleet = Fleet(
            sites=typed_table(
                columns.SITES,
                {
                    "site": sites,
                    "clusters": [clusters[site] for site in sites],
                    "zone": [(site_zones or {}).get(site, ()) for site in sites],
                },
            ),
            pools=typed_table(
                columns.HUBS,
                {"hub": hubs, "pool": hubs, "zone": [(zones or {}).get(hub, ()) for hub in hubs]},
            ),
            latency=typed_table(
                columns.LATENCY,
                {
                    "site": [site for site in sites for _ in hubs],
                    "hub": [hub for _ in sites for hub in hubs],
                    "rtt_ms": [rtt for _ in sites for _ in hubs],
                },
            ),
            policy=Policy(latency_budget_ms=20.0, cluster_cap=cap, split_sites=True).replace(**(policy or {})),
        )
        hub_of = dict(self.hosts)
        load = {host: sum(k for _, k, home, _ in rows if home == host) for host, _ in self.hosts}
        self.plan = Plan(
            status="optimal",
            objective="hosts",
            objective_value=len(self.hosts),
            lower_bound=len(self.hosts),
            host_list=tuple(Host(host, hub, hub, "", load[host], cap, cap, False) for host, hub in self.hosts),
            assignments=tuple(
                Assignment(site, home, hub_of[home], k, rtt, 20.0, "measured", standby=standby)
                for site, k, home, standby in rows
            ),
            unserved=tuple(Unserved(site, 1, ()) for site in unserved),
        )

    def with_policy(self, **changes):
        self.fleet = self.fleet.replace(policy=self.fleet.policy.replace(**changes))
        return self

    def with_column(self, table, name, values):
        changed = getattr(self.fleet, table).copy()
        changed[name] = values
        self.fleet = self.fleet.replace(**{table: changed})
        return self


@pytest.fixture(scope="session")
def build():
    return Builder


@pytest.fixture(scope="session")
def known():
    """Figures of every part, in percent."""
    return ALL_KNOWN


@pytest.fixture(scope="session")
def random_case():
    """A random plan: up to three hubs of one or two hosts, sites of one to three clusters, some with a standby."""

    def make(seed, sites=8, split=False, cap=10):
        rng = random.Random(seed)
        hosts = {f"H{h}": [f"H{h}-{n}" for n in range(rng.randint(1, 2))] for h in range(rng.randint(2, 3))}
        names = [host for at_hub in hosts.values() for host in at_hub]
        rows = []
        for number in range(sites):
            home = rng.choice(names)
            standby = rng.choice([None, *(name for name in names if name != home)])
            rows.append((f"S{number}", rng.randint(1, 3), home, standby))
            if split and number < 2:
                other = rng.choice([name for name in names if name != home])
                rows.append((f"S{number}", rng.randint(1, 2), other, None))
        zones = {hub: tuple(rng.sample(["za", "zb", "zc"], rng.randint(0, 2))) for hub in hosts}
        return Builder(hosts, rows, cap=cap, zones=zones, policy=ALL_KNOWN)

    return make
