"""A synthetic fleet and plan as a rollout team would meet them: 180 sites, 6 hubs, invented names."""

from __future__ import annotations

import random
from collections import Counter

import pandas as pd
import pytest

from planner import columns
from planner.fleet import Finding, Fleet, Policy, Source, typed_table
from planner.plan import Assignment, Host, NoHostNeeded, Plan, Proof, Reason, Unserved

HUBS = ("ESK", "ROV", "TYN", "WEY", "DON", "AVN")
STREETS = ("Alder", "Birch", "Cedar", "Elder", "Hazel", "Juniper", "Larch", "Maple", "Rowan", "Willow")
WAYS = ("Street", "Road", "Quay", "Market", "Retail Park", "Station Approach")
REGIONS = ("North", "East", "South", "West", "Midlands")


def build_fleet(sites: int) -> Fleet:
    rng = random.Random(7)
    ids = [f"{number:04d}" for number in range(1, sites + 1)]
    table = typed_table(
        columns.SITES,
        {
            "site": ids,
            "name": [f"{rng.choice(STREETS)} {rng.choice(WAYS)}" for _ in ids],
            "region": [rng.choice(REGIONS) for _ in ids],
            "clusters": [rng.choice((1, 1, 1, 1, 2, 3)) for _ in ids],
            "release": ["8.10"] * sites,
            "cost centre": [f"0{rng.randrange(100, 999)}" for _ in ids],
            "floor area m2": [rng.randrange(80, 2500) for _ in ids],
            "last visit": pd.date_range("2026-01-05", periods=sites, freq="D"),
        },
    )
    pools = typed_table(
        columns.HUBS, {"hub": HUBS, "pool": HUBS, "host_release": ["8.10"] * 6, "existing_hosts": [1, 1, 1, 0, 0, 0]}
    )
    current = typed_table(
        columns.CURRENT,
        {
            "site": ids[: sites // 2],
            "hub": [HUBS[i % 3] for i in range(sites // 2)],
            "host": [f"{HUBS[i % 3]}-01" for i in range(sites // 2)],
        },
    )
    policy = Policy(latency_budget_ms=40.0, reserve_percent=10.0, cluster_cap=24, cover="host", currency="GBP")
    sources = (Source("shops-2026.xlsx", "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"),)
    return Fleet(table, pools, current=current, policy=policy, sources=sources)


def build_plan(fleet: Fleet, cap: int = 24, unserved: int = 4) -> Plan:
    rng = random.Random(11)
    usable = cap * 9 // 10
    current = dict(zip(fleet.current["site"], fleet.current["host"], strict=True))
    load: Counter[str] = Counter()
    hosts: dict[str, str] = {}
    assignments = []
    served = fleet.site_ids[: len(fleet.site_ids) - unserved]
    for site, clusters in zip(served, fleet.clusters.tolist(), strict=False):
        hub = rng.choice(HUBS)
        number = next(n for n in range(1, 999) if load[f"{hub}-{n:02d}"] + clusters <= usable)
        host = f"{hub}-{number:02d}"
        load[host] += clusters
        hosts[host] = hub
        before = current.get(site)
        action = "attach" if before is None else "keep" if before == host else "move"
        assignments.append(
            Assignment(
                site,
                host,
                hub,
                clusters,
                round(rng.uniform(3, 39.9), rng.choice((1, 1, 9))),
                40.0,
                rng.choice(("measured",) * 8 + ("modelled", "estimated")),
                standby=f"{HUBS[HUBS.index(hub) - 1]}-01",
                moved_from=before if action == "move" else None,
                action=action,
            )
        )
    host_list = tuple(
        Host(host, hub, hub, "8.10", load[host], cap, usable, host.endswith("-01") and hub in HUBS[:3])
        for host, hub in sorted(hosts.items())
    )
    left_out = tuple(
        Unserved(
            site,
            1,
            (
                Reason("latency", "best RTT 61.2 ms (hub ROV) exceeds the budget of 40 ms"),
                Reason("release", "the hosts at TYN run 8.10, older than the site's 8.12"),
            ),
            "raise the latency budget to 61.2 ms, or measure the pair with hub WEY",
        )
        for site in fleet.site_ids[len(served) :]
    )
    return Plan(
        status="optimal",
        objective="hosts",
        objective_value=float(len(host_list)),
        lower_bound=float(len(host_list)),
        host_list=host_list,
        assignments=tuple(assignments),
        unserved=left_out,
        no_host_needed=(NoHostNeeded("9001", "own_tie_breaker"), NoHostNeeded("9002", "no_clusters")),
        proof=Proof(
            "cuts", "Each of 3 groups of sites needs more hosts than one fewer; add them up to check.", {"cuts": [3]}
        ),
        findings=(
            Finding(
                "warning",
                "far_away",
                "Sites!F17",
                "hub DON is 912 km away.",
                "Check the coordinates.",
                "shops-2026.xlsx",
            ),
            Finding(
                "info",
                "number_comma",
                "Latency!C9",
                "rtt_ms has a decimal comma or digit grouping in 3 cells (C9, C10, C11).",
                "",
                "shops-2026.xlsx",
            ),
        ),
        policy={
            "latency_budget_ms": 40.0,
            "reserve_percent": 10.0,
            "cluster_cap": cap,
            "cover": "host",
            "currency": "GBP",
        },
        seconds={"read": 0.2, "solve": 0.1},
        sources=fleet.sources,
        version="0.1.0",
    )


@pytest.fixture(scope="session")
def fleet() -> Fleet:
    return build_fleet(180)


@pytest.fixture(scope="session")
def plan(fleet: Fleet) -> Plan:
    return build_plan(fleet)


@pytest.fixture(scope="session")
def builders():
    """`build_fleet` and `build_plan`, for tests that need another size."""
    return build_fleet, build_plan
