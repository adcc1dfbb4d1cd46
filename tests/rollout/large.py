"""Large rollouts that take many nights: time zones, hardly a free place, a part that moves, tight limits."""

import random
from collections import Counter
from dataclasses import dataclass

import numpy as np

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.plan import Assignment, Host, Plan

ZONES = [
    "Europe/London", "Europe/Berlin", "Europe/Athens", "America/New_York", "America/Chicago", "America/Denver",
    "America/Los_Angeles", "Asia/Tokyo", "Asia/Kolkata", "Australia/Sydney",
]  # fmt: skip
WINDOWS = [
    "Sun 22:00-04:00", "Sun 22:00-04:00; Wed 22:00-04:00", "Sat 23:00-05:00", "Tue 22:00-04:00; Thu 22:00-04:00",
    "Sat 22:00-04:00; Sun 22:00-04:00", "Wed 01:00-06:00",
]  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """``moving`` of ``sites`` change hosts, of which there are ``hosts`` with ``free`` places each beside the mean.

    ``gone`` hosts retire and as many new ones come. ``crews`` have no name; with ``named`` each region has its own.
    """

    sites: int
    moving: int
    hosts: int
    free: int
    zones: int = 1
    gone: int = 0
    crews: int = 20
    named: int = 0
    limits: tuple[tuple[str, int], ...] = ()


KINDS = {
    "zones": Kind(2400, 2400, 60, 4, zones=10, gone=3, crews=40),
    "one_free": Kind(1200, 1200, 60, 1, zones=3, crews=40),
    "part_of_1200": Kind(1200, 378, 24, 4, zones=4, gone=3, crews=6, named=2),
    "half_of_600": Kind(600, 319, 12, 4, zones=2, gone=2, crews=6),
    "part_of_2400": Kind(2400, 742, 48, 5, zones=6, gone=4, crews=10, named=3),
    "tight": Kind(800, 620, 20, 4, zones=2, crews=12, limits=(("per_host", 3), ("per_region", 6), ("per_wave", 30))),
}


def large_case(name, seed):
    """Return (fleet, plan) of one of `KINDS`."""
    return case_of_kind(KINDS[name], random.Random(f"{name} {seed}"))


def case_of_kind(kind, rng, windows=WINDOWS):
    """Return (fleet, plan) of a kind: sites of one cluster on hosts H00-01, ..., one host at each hub."""
    sites = [f"S{n:04d}" for n in range(kind.sites)]
    hubs = [f"H{n:02d}" for n in range(kind.hosts + kind.gone)]
    old, new = hubs[: kind.hosts], hubs[kind.gone :]
    now = {site: old[n % len(old)] for n, site in enumerate(sites)}
    cap = -(-kind.sites // kind.hosts) + kind.free
    then = _then(kind, rng, now, hubs[: kind.gone], new, cap)
    zone = {hub: ZONES[n % kind.zones] for n, hub in enumerate(hubs)}
    regions = [f"R{n}" for n in range(8)]
    region = {site: rng.choice(regions) for site in sites}
    limits = {f"sites_{name}": most for name, most in kind.limits}
    policy = Policy(
        latency_budget_ms=50.0, host_release_rule="any", crews=kind.crews, timezone="UTC", window="Sat 20:00-04:00",
        site_minutes=rng.choice([30, 45]), host_minutes=60, neighbour_days=2, **limits,
    )  # fmt: skip
    pairs = [(s, h) for s in sites for h in {now[s], then[s]}]
    fleet = Fleet(
        sites=typed_table(
            columns.SITES,
            {
                "site": sites,
                "region": [region[s] for s in sites],
                "timezone": [rng.choice(ZONES[: kind.zones]) for _ in sites],
                "window": [rng.choice(windows) for _ in sites],
                "crew": [region[s] if region[s] in regions[: kind.named] else "" for s in sites],
                "neighbours": [(rng.choice(sites),) if rng.random() < 0.05 else () for _ in sites],
            },
        ),
        pools=typed_table(
            columns.HUBS,
            {
                "hub": hubs,
                "pool": hubs,
                "max_hosts": [1.0] * len(hubs),
                "existing_hosts": [float(h in old) for h in hubs],
                "cluster_cap": [float(cap)] * len(hubs),
                "timezone": [zone[h] for h in hubs],
            },
        ),
        latency=typed_table(
            columns.LATENCY,
            {"site": [s for s, _ in pairs], "hub": [h for _, h in pairs], "rtt_ms": np.full(len(pairs), 10.0)},
        ),
        current=typed_table(
            columns.CURRENT, {"site": sites, "hub": [now[s] for s in sites], "host": [f"{now[s]}-01" for s in sites]}
        ),
        freezes=typed_table(columns.FREEZES, {"first": ["2027-04-20"], "last": ["2027-04-27"]}),
        policy=policy,
    )
    load = Counter(then.values())
    hosts = tuple(Host(f"{h}-01", h, h, "", load[h], cap, cap, h in old) for h in new)
    rows = tuple(
        Assignment(
            s, f"{then[s]}-01", then[s], 1, 10.0, 50.0, "measured",
            moved_from=None if now[s] == then[s] else f"{now[s]}-01",
            action="keep" if now[s] == then[s] else "move",
        )
        for s in sites
    )  # fmt: skip
    return fleet, Plan("feasible", "hosts", len(hosts), 0, hosts, rows)


def _then(kind, rng, now, gone, new, cap):
    """Send those who must leave, and as many others as the kind says, to other hosts with room."""
    leaving = [site for site in now if now[site] in gone]
    staying = [site for site in now if now[site] not in gone]
    leaving += rng.sample(staying, min(len(staying), max(0, kind.moving - len(leaving))))
    then = {site: host for site, host in now.items() if site not in set(leaving)}
    load = Counter(then.values())
    most = cap - kind.free // 2
    rng.shuffle(leaving)
    for site in leaving:
        open_hosts = [host for host in new if load[host] < most and host != now[site]]
        then[site] = rng.choice(open_hosts) if open_hosts else min(new, key=lambda host: load[host])
        load[then[site]] += 1
    return then
