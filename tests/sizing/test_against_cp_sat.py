"""Random fleets with every rule switched on: same weight served and same hosts as CP-SAT (OR-Tools)."""

import numpy as np
import pandas as pd
import pytest
from ortools.sat.python import cp_model

from planner.fleet import whole_weights
from planner.sizing import plan
from planner.verify.inventory import read_inventory
from planner.verify.rules import eligible
from tests.how_many import seeds

ZONES = ["grid-a", "grid-b", "carrier-1", "carrier-2"]
REGIONS = ["North", "South", "East"]


def pick(rng, values, share):
    """Return a random element, or the blank one with probability 1 - share."""
    return str(rng.choice(values)) if rng.random() < share else ""


def limits(rng, clusters: int, width: int) -> dict[str, float | None]:
    """Each limit on hubs, zones and weight with a chance of one half, near what an even spread would take."""
    hubs = max(3, width - 2)
    likely = {
        "max_blast_radius_hub": int(clusters / hubs * rng.uniform(0.6, 1.2)),
        "max_blast_radius_zone": int(clusters / hubs * rng.uniform(1.0, 2.0)),
        "max_share_percent": round(1000 / clusters * rng.uniform(0.5, 1.0), 2),
        "max_share_percent_hub": round(100 / hubs * rng.uniform(0.6, 1.2), 2),
        "max_share_percent_zone": round(100 / hubs * rng.uniform(1.0, 2.0), 2),
    }
    return {name: value if rng.random() < 0.5 else None for name, value in likely.items()}


def random_fleet(make, seed: int):
    """40 to 150 sites, 4 to 8 pools at 3 to 6 hubs, every rule and limit in use."""
    rng = np.random.default_rng(seed)
    count, width = int(rng.integers(40, 151)), int(rng.integers(4, 9))
    hub_ids = [f"H{j % max(3, width - 2)}" for j in range(width)]
    hubs = list(dict.fromkeys(hub_ids))
    site_xy, hub_xy = rng.uniform(0, 6, (count, 2)), rng.uniform(0, 6, (len(hubs), 2))
    distance = np.hypot(site_xy[:, None, 0] - hub_xy[None, :, 0], site_xy[:, None, 1] - hub_xy[None, :, 1])
    rtt = 3 + 9 * distance * rng.uniform(0.6, 1.6, distance.shape)
    rtt[rng.random(rtt.shape) < 0.1] = np.nan
    sites = {
        "clusters": rng.choice([0, 1, 1, 1, 1, 2, 3, 5], count),
        "weight": rng.choice([1.0, 1.0, 2.0, 0.5], count),
        "region": [str(rng.choice(REGIONS)) for _ in range(count)],
        "release": [pick(rng, ["8.1", "8.2", "8.10", "9.0-rc1", "9.0"], 0.95) for _ in range(count)],
        "latency_budget_ms": np.where(rng.random(count) < 0.5, rng.uniform(15, 50, count), np.nan),
        "latitude": 50 + site_xy[:, 0],
        "longitude": site_xy[:, 1] - 3,
        "zone": [(pick(rng, ZONES, 1),) if rng.random() < 0.3 else () for _ in range(count)],
        "pinned_hub": [pick(rng, hubs, 0.05) for _ in range(count)],
        "barred_hubs": [tuple(rng.choice(hubs, 1)) if rng.random() < 0.15 else () for _ in range(count)],
        "nodes": rng.choice([2, 2, 2, 2, 2, 2, 2, 3], count),
        "own_tie_breaker": [str(rng.choice(["no"] * 9 + ["yes"])) for _ in range(count)],
    }
    pools = {
        "hub": hub_ids,
        "pool": [f"P{j}" for j in range(width)],
        "cluster_cap": rng.choice([6, 8, 10, 13], width),
        "max_hosts": rng.integers(0, 6, width),
        "existing_hosts": rng.integers(0, 2, width),
        "host_release": [pick(rng, ["8.2", "8.10", "9.0", "9.1"], 0.9) for _ in range(width)],
        "latitude": [50 + hub_xy[hubs.index(h), 0] for h in hub_ids],
        "longitude": [hub_xy[hubs.index(h), 1] - 3 for h in hub_ids],
        "zone": [(pick(rng, ZONES, 1),) for _ in range(width)],
        "serves_regions": [tuple(rng.choice(REGIONS, 2, replace=False)) if rng.random() < 0.4 else () for _ in hub_ids],
    }
    fleet = make.fleet(
        rtt,
        sites=sites,
        pools=pools,
        hubs=hubs,
        latency_budget_ms=45.0,
        reserve_percent=10.0,
        max_blast_radius=11,
        **limits(rng, int(sites["clusters"].sum()), width),
        release_floor="8.2",
        third_location_km=60.0,
        unknown_latency="estimate",
        accepted_evidence="modelled",
        max_age_days=90,
        old_latency="ineligible",
        as_of="2026-11-25",
    )
    ages = rng.choice([1, 90, 91, 400], len(fleet.latency), p=[0.8, 0.14, 0.03, 0.03])
    measured_at = pd.Timestamp("2026-11-25 18:00") - pd.to_timedelta(ages, unit="D")
    return fleet.replace(latency=fleet.latency.assign(measured_at=measured_at))


def places(inventory, pool) -> list[tuple[str, str]]:
    """Return which hubs and zones take a pool down; a hub is a zone of its own, its zones are those of all its rows."""
    zones = {zone for other in inventory.pools.values() if other.hub == pool.hub for zone in other.zones}
    return [("_hub", pool.hub), ("_zone", f"hub {pool.hub}"), *(("_zone", zone) for zone in sorted(zones))]


def add_limits(model, policy, at_place, whole: int) -> None:
    """Limit clusters and weight at each host, hub and zone; ``at_place`` holds (clusters, weight, variable)."""
    for (kind, _), terms in at_place.items():
        most, percent = getattr(policy, f"max_blast_radius{kind}"), getattr(policy, f"max_share_percent{kind}")
        if most is not None:
            model.add(sum(k * x for k, _, x in terms) <= most)
        if percent is not None:
            model.add(10000 * sum(w * x for _, w, x in terms) <= round(100 * percent) * whole)


def solve(fleet) -> tuple[int, int, bool]:
    """Return (weight served, hosts, proven): hosts one by one, sites with all their clusters on one of them."""
    inventory = read_inventory(fleet)
    units = dict(zip(fleet.site_ids, whole_weights(fleet.weights).tolist(), strict=True))
    model = cp_model.CpModel()
    running, load, served = {}, {}, {}
    at_place = {}
    for pool in inventory.pools.values():
        for h in range(pool.max_hosts):
            running[pool.pool, h] = model.new_bool_var("")
            load[pool.pool, h] = []
            if h:
                model.add_implication(running[pool.pool, h], running[pool.pool, h - 1])
    for site in inventory.sites.values():
        if not site.needs_host:
            continue
        pools = [p for p in inventory.pools.values() if eligible(inventory, site, p)]
        chosen = []
        for pool in pools:
            for h in range(pool.max_hosts):
                x = model.new_bool_var("")
                chosen.append(x)
                load[pool.pool, h].append(site.clusters * x)
                for place in (("", (pool.pool, h)), *places(inventory, pool)):
                    at_place.setdefault(place, []).append((site.clusters, units[site.site], x))
                model.add_implication(x, running[pool.pool, h])
        served[site.site] = sum(chosen)
        model.add(served[site.site] <= 1)
    for (pool, h), terms in load.items():
        model.add(sum(terms) <= inventory.pools[pool].usable * running[pool, h])
    whole = sum(units[site.site] for site in inventory.sites.values() if site.needs_host)
    add_limits(model, fleet.policy, at_place, whole)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 2
    solver.parameters.max_time_in_seconds = 4
    weight = sum(units[s] * x for s, x in served.items())
    model.maximize(weight)
    first = solver.solve(model)
    most = round(solver.objective_value)
    model.add(weight >= most)
    model.minimize(sum(running.values()))
    second = solver.solve(model)
    return most, round(solver.objective_value), first == second == cp_model.OPTIMAL


@pytest.mark.parametrize("seed", seeds(6, 30))
def test_same_weight_and_hosts_as_cp_sat(make, seed):
    fleet = random_fleet(make, seed)
    result = plan(fleet)
    make.sound(fleet, result)
    units = dict(zip(fleet.site_ids, whole_weights(fleet.weights).tolist(), strict=True))
    wanting = [s for s in read_inventory(fleet).sites.values() if s.needs_host]
    served = sum(units[s.site] for s in wanting) - sum(units[u.site] for u in result.unserved)
    most, hosts, proven = solve(fleet)
    assert result.hosts == result.lower_bound
    assert served >= most
    if served == most:
        assert result.hosts <= hosts
    if proven:
        assert (served, result.hosts) == (most, hosts)
