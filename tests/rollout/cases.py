"""Random fleets with a state today and a plan, small enough to be tight in every way."""

import random

import numpy as np

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.plan import Assignment, Host, NoHostNeeded, Plan, Reason, Unserved
from planner.releases import suits
from planner.rollout.releases import reaches

WINDOWS = ["Sun 22:00-04:00", "Tue 22:00-05:00; Wed 22:00-05:00", "Sat 01:00-06:00", "Mon 10:00-16:00", ""]
ZONES = ["Europe/London", "Europe/Berlin", "America/New_York", "Asia/Tokyo", ""]


class Draw:
    """A random choice that may be blank."""

    def __init__(self, rng):
        self.rng = rng

    def some(self, values, share):
        return self.rng.choice(values) if self.rng.random() < share else ""


def random_case(seed, windows=WINDOWS):
    """Return (fleet, plan): 2 to 5 hubs with 1 or 2 hosts, 3 to 14 sites, tight caps, every setting in use at times."""
    rng = seed if isinstance(seed, random.Random) else random.Random(seed)
    draw = Draw(rng)
    hubs = [f"H{i}" for i in range(rng.randint(2, 5))]
    sites = [f"S{i:02d}" for i in range(rng.randint(3, 14))]
    big = rng.random() < 0.4
    clusters = {s: rng.choice([1, 1, 1, 2, 3]) if big else 1 for s in sites}
    rule = rng.choice(["not_older", "not_older", "any", "same_major"])
    floor = rng.choice(["", "", "8.2"])
    raised = rng.random() < 0.5
    before = {h: rng.choice(["8.0", "8.2", "9.0"]) if rng.random() < 0.8 else "" for h in hubs}
    after = {h: rng.choice(["8.4", "9.0", "9.1"]) if raised and rng.random() < 0.7 else before[h] for h in hubs}
    release = {s: rng.choice(["8.0", "8.2", "9.0", ""]) for s in sites}
    target = {s: rng.choice(["8.2", "8.4", "9.0"]) if rng.random() < 0.4 else "" for s in sites}
    existing = {h: rng.randint(0, 2) for h in hubs}
    running = [(h, f"{h}-{n + 1:02d}") for h in hubs for n in range(existing[h])]
    extra = [(h, f"{h}-{existing[h] + 1:02d}") for h in hubs if rng.random() < 0.5 or not running]
    rtt = {(s, h): 10.0 for s in sites for h in hubs if rng.random() < 0.75}
    now = {s: rng.choice(running) for s in sites if running and rng.random() < 0.85}
    kept = [host for host in running if rng.random() < 0.8] + extra
    then = {}
    for s in sites:
        fitting = [
            host
            for host in kept
            if (s, host[0]) in rtt and _suits(rule, floor, target[s] or release[s], after[host[0]])
        ]
        if fitting:
            stay = now.get(s) in fitting and rng.random() < 0.3
            then[s] = now[s] if stay else rng.choice(fitting)
    # What is not served has no known round-trip time, so that a plan may leave it out.
    rtt = {pair: ms for pair, ms in rtt.items() if pair[0] in then}
    kept = [host for host in kept if host in then.values()]
    load = {
        host: [sum(clusters[s] for s, at in state.items() if at == host) for state in (now, then)]
        for host in {*running, *kept}
    }
    slack = rng.choice([0, 0, 1, 2])
    cap = {h: max([1, *(max(both) for host, both in load.items() if host[0] == h)]) + slack for h in hubs}
    if rng.random() < 0.1:
        cap = {h: max([1, *(both[1] for host, both in load.items() if host[0] == h)]) for h in hubs}
    own = {s for s in sites if s not in then and s in now and rng.random() < 0.5}
    then_sites = [s for s in sites if s in then]
    unnamed = {s for s in now if rng.random() < 0.05}
    policy = Policy(
        latency_budget_ms=50.0,
        host_release_rule=rule,
        release_floor=floor,
        timezone=rng.choice(ZONES),
        window=rng.choice(windows),
        sites_per_wave=rng.choice([None, 2, 5]),
        sites_per_region=rng.choice([None, 1, 3]),
        sites_per_host=rng.choice([None, 1, 3]),
        sites_per_crew=rng.choice([None, 2]),
        crews=rng.randint(1, 3),
        pilot_sites=rng.choice([0, 1, 3]),
        wave_growth=rng.choice([1.0, 1.5, 3.0]),
        pilot_days=rng.choice([1, 1, 7]),
        neighbour_days=rng.choice([1, 3]),
        site_minutes=rng.choice([30, 45, 90]),
        host_minutes=rng.choice([60, 120]),
    )
    fleet = Fleet(
        sites=typed_table(
            columns.SITES,
            {
                "site": sites,
                "region": [rng.choice(["North", "South ", ""]) for _ in sites],
                "clusters": [clusters[s] for s in sites],
                "release": [release[s] for s in sites],
                "target_release": [target[s] for s in sites],
                "own_tie_breaker": ["yes" if s in own else "" for s in sites],
                "timezone": [rng.choice(ZONES) for _ in sites],
                "window": [draw.some(windows, 0.6) for _ in sites],
                "crew": [draw.some(["North", "South"], 0.3) for _ in sites],
                "neighbours": [tuple(rng.sample(sites, 1)) if rng.random() < 0.3 else () for _ in sites],
            },
        ),
        pools=typed_table(
            columns.HUBS,
            {
                "hub": hubs,
                "pool": hubs,
                "region": [rng.choice(["North", "South"]) for _ in hubs],
                "max_hosts": [float(existing[h] + 1) for h in hubs],
                "existing_hosts": [float(existing[h]) for h in hubs],
                "cluster_cap": [float(cap[h]) for h in hubs],
                "host_release": [after[h] for h in hubs],
                "host_release_today": [before[h] if before[h] != after[h] else "" for h in hubs],
                "window": [draw.some(windows, 0.5) for _ in hubs],
            },
        ),
        latency=typed_table(
            columns.LATENCY,
            {"site": [s for s, _ in rtt], "hub": [h for _, h in rtt], "rtt_ms": np.array(list(rtt.values()))},
        ),
        current=typed_table(
            columns.CURRENT,
            {
                "site": list(now),
                "hub": [host[0] for host in now.values()],
                "host": ["" if s in unnamed else host[1] for s, host in now.items()],
            },
        ),
        freezes=typed_table(
            columns.FREEZES,
            {"first": ["2027-03-20"], "last": ["2027-04-02"], "regions": [rng.choice([(), ("south",)])]}
            if rng.random() < 0.3
            else {},
        ),
        policy=policy,
    )
    return fleet, _plan(fleet, now, then, own, unnamed, then_sites, kept, clusters, cap, running)


def _suits(rule, floor, site, host):
    return suits(rule, site, host) and reaches(floor, site)


def _plan(fleet, now, then, own, unnamed, then_sites, kept, clusters, cap, running):
    hosts = tuple(
        Host(
            name,
            hub,
            hub,
            fleet.host_releases[fleet.hub_ids.index(hub)],
            sum(clusters[s] for s in then if then[s] == (hub, name)),
            cap[hub],
            cap[hub],
            (hub, name) in running,
        )
        for hub, name in kept
    )
    rows = []
    for s in then_sites:
        hub, name = then[s]
        was = now.get(s)
        runs = (hub, name) in running or any(at == (hub, name) and o not in unnamed for o, at in now.items())
        stays = was is not None and was[0] == hub and (runs if s in unnamed else was[1] == name)
        action = "attach" if was is None else "keep" if stays else "move"
        left = None if action != "move" else was[0] if s in unnamed else was[1]
        rows.append(Assignment(s, name, hub, clusters[s], 10.0, 50.0, "measured", moved_from=left, action=action))
    left_out = [s for s in fleet.site_ids if s not in then and s not in own]
    reasons = (Reason("unknown_latency", "no RTT is known"),)
    return Plan(
        "feasible",
        "hosts",
        len(hosts),
        0,
        hosts,
        tuple(rows),
        unserved=tuple(
            Unserved(s, clusters[s], reasons, current=None if s not in now else now[s][0 if s in unnamed else 1])
            for s in left_out
        ),
        no_host_needed=tuple(NoHostNeeded(s, "own_tie_breaker") for s in sorted(own)),
    )


def moves_case(caps, now, then, size, may_use, **policy):
    """Return (fleet, plan) of sites on hosts of today (one at each hub) that may be changed at any time."""
    hubs, sites = list(caps), list(size)
    pairs = [(s, h) for s in sites for h in hubs if may_use(s, h) or h == then[s]]
    fleet = Fleet(
        sites=typed_table(columns.SITES, {"site": sites, "clusters": list(size.values())}),
        pools=typed_table(
            columns.HUBS,
            {
                "hub": hubs,
                "pool": hubs,
                "max_hosts": [1.0] * len(hubs),
                "existing_hosts": [1.0] * len(hubs),
                "cluster_cap": [float(cap) for cap in caps.values()],
            },
        ),
        latency=typed_table(
            columns.LATENCY,
            {"site": [s for s, _ in pairs], "hub": [h for _, h in pairs], "rtt_ms": np.full(len(pairs), 10.0)},
        ),
        current=typed_table(
            columns.CURRENT, {"site": sites, "hub": [now[s] for s in sites], "host": [f"{now[s]}-01" for s in sites]}
        ),
        policy=Policy(latency_budget_ms=50.0, host_release_rule="any", crews=5, pilot_sites=0, **policy),
    )
    load = {h: sum(size[s] for s in sites if then[s] == h) for h in hubs}
    hosts = tuple(Host(f"{h}-01", h, h, "", load[h], caps[h], caps[h], True) for h in hubs if load[h])
    stay = {s: now[s] == then[s] for s in sites}
    rows = tuple(
        Assignment(
            site=s,
            host=f"{then[s]}-01",
            hub=then[s],
            clusters=size[s],
            rtt_ms=10.0,
            budget_ms=50.0,
            evidence="measured",
            moved_from=None if stay[s] else f"{now[s]}-01",
            action="keep" if stay[s] else "move",
        )
        for s in sites
    )
    return fleet, Plan("feasible", "hosts", len(hosts), 0, hosts, rows)
