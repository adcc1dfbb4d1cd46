"""The same plan, and the same rollout, whatever the order of the rows of any sheet."""

import random

import pandas as pd
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

import planner
from tests.how_many import MORE, tries

_POLICIES = {
    "cover": ["none", "none", "host", "hub", "zone"],
    "objective": ["hosts", "hosts", "new_hosts", "cost"],
    "then": ["moves latency", "latency margin", "margin", "spread moves", ""],
    "max_blast_radius_hub": [None, None, 8, 12],
    "max_blast_radius_zone": [None, None, 10],
    "max_share_percent": [None, None, 25],
    "max_share_percent_hub": [None, None, 40],
    "split_sites": ["no", "no", "no", "yes"],
    "unknown_latency": ["ineligible", "estimate"],
}


def tables_of(seed: int) -> tuple[dict[str, list[dict]], dict]:
    """A small fleet with several pools at a hub, zones, own tie-breakers, and hosts of today with and without names.

    One with cover is smaller: with ten pools the exact model of single hosts takes up to half a minute.
    """
    rng = random.Random(seed)
    policy = {name: rng.choice(values) for name, values in _POLICIES.items()}
    alone = policy["cover"] == "none"
    if not alone:
        policy["split_sites"] = "no"
    hubs = []
    for h in range(rng.randint(2, 4 if alone or MORE else 3)):
        place = {"latitude": rng.randint(50, 53), "longitude": rng.randint(0, 3), "zone": rng.choice(["", "Z1", "Z2"])}
        uplink = rng.choice([None, None, None, 3])
        for letter in "abc"[: rng.randint(1, 3 if alone or MORE else 2)]:
            kinds = {
                "cluster_cap": rng.choice([3, 4, 6]),
                "max_hosts": rng.choice([None, 2, 3]),
                "existing_hosts": rng.randint(0, 2),
                "host_release": rng.choice(["9.0", "9.0", "8.9", "9.2"]),
                "host_cost": rng.choice([10, 12, 15]),
            }
            hubs.append({"hub": f"H{h}", "pool": f"H{h}{letter}", **place, "uplink_mbps": uplink, **kinds})
    names = sorted({row["hub"] for row in hubs})
    sites, latency, samples, links, current = [], [], [], [], []
    for s in range(rng.randint(4, 9 if alone or MORE else 7)):
        site = f"S{s:02d}"
        sites.append(
            {
                "site": site,
                "clusters": rng.choice([0, 1, 1, 1, 2, 3]),
                "release": rng.choice(["", "8.9", "9.0", "9.0"]),
                "weight": rng.choice([None, None, 0.5, 2]),
                "zone": rng.choice(["", "", "", "Z1"]),
                "own_tie_breaker": rng.choice(["no", "no", "no", "possible"]),
                "own_tie_breaker_cost": rng.choice([3, 5]),
                "tie_breaker_kbps": rng.choice([200, 500]),
                "latitude": rng.randint(50, 53),
                "longitude": rng.randint(0, 3),
            }
        )
        for hub in names:
            draw = rng.random()
            if draw < 0.6:
                rtt_ms, pair_cost = rng.choice([5, 10, 20]), rng.choice([0, 1])
                latency.append({"site": site, "hub": hub, "rtt_ms": rtt_ms, "pair_cost": pair_cost})
            elif draw < 0.75:
                samples += [{"site": site, "hub": hub, "rtt_ms": rng.choice([5, 9, 30])} for _ in range(5)]
            elif draw < 0.9:
                links.append({"from": site, "to": hub, "latency_ms": rng.choice([1.1, 2.2, 3.3])})
        if rng.random() < 0.7:
            hub = rng.choice(names)
            current.append({"site": site, "hub": hub, "host": rng.choice(["", f"{hub}-01", f"{hub}-02", f"tb {hub}"])})
    if policy["split_sites"] == "yes" and policy["objective"] == "cost":
        latency = [{**row, "pair_cost": 0} for row in latency]
    found = {"Sites": sites, "Hubs": hubs, "Latency": latency, "Samples": samples, "Links": links, "Current": current}
    policy |= {"latency_budget_ms": 25}
    return {name: rows for name, rows in found.items() if rows}, {k: v for k, v in policy.items() if v is not None}


def fleet_of(tables: dict[str, list[dict]], policy: dict) -> planner.Fleet:
    return planner.fleet_from_tables({name: pd.DataFrame(rows) for name, rows in tables.items()}, policy)


def shuffled(tables: dict[str, list[dict]], seed: int) -> dict[str, list[dict]]:
    rng = random.Random(seed)
    return {name: rng.sample(rows, len(rows)) for name, rows in tables.items()}


@settings(max_examples=tries(4), deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10**6))
@example(111)  # limits on hubs, once listed in the order of rows
def test_the_order_of_rows_changes_no_plan(seed: int) -> None:
    tables, policy = tables_of(seed)
    plans = [planner.plan(fleet_of(rows, policy)) for rows in (tables, shuffled(tables, seed))]
    one, other = (plan.replace(seconds={}, findings=()) for plan in plans)
    assert one == other


@settings(max_examples=tries(3), deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10**6))
@example(3610)  # a host without a name was called existing while one that Current names stood idle
def test_the_order_of_rows_changes_no_way_to_a_plan(seed: int) -> None:
    tables, policy = tables_of(seed)
    policy |= {"cover": "none", "split_sites": "no", "rollout_start": "2027-03-01"}
    fleets = [fleet_of(rows, policy) for rows in (tables, shuffled(tables, seed))]
    plans = [planner.plan(fleet).replace(seconds={}) for fleet in fleets]
    one, other = (plan.replace(findings=tuple(f for f in plan.findings if not f.where)) for plan in plans)
    assert one == other
    ways = [planner.roll_out(fleet, plan) for fleet, plan in zip(fleets, plans, strict=True)]
    assert ways[0].waves == ways[1].waves
    assert ways[0].conflicts == ways[1].conflicts


def test_limits_on_hubs_do_not_follow_the_order_of_hubs() -> None:
    """Two hosts of one pool changed their guests when the rows of Hubs were in another order."""
    sites = pd.DataFrame(
        {
            "site": ["S00", "S01", "S02", "S03", "S04", "S06", "S07", "S08", "S09", "S10", "S13", "S14"],
            "clusters": [1, 2, 2, 1, 3, 1, 4, 4, 1, 2, 1, 3],
            "release": ["", "9.2", "9.2", "9.2", "", "", "9.0", "", "9.0", "", "9.0", "8.11"],
            "weight": [1, 1, 1, 0.5, 1, 1, 1, 0.5, 1, 1, 1, 1],
        }
    )
    hubs = pd.DataFrame(
        {
            "hub": ["H0", "H0", "H0", "H1", "H2", "H3", "H3"],
            "pool": ["H0a", "H0b", "H0c", "H1", "H2", "H3a", "H3b"],
            "max_hosts": [2, None, None, None, None, None, None],
            "existing_hosts": [2, 0, 1, 0, 0, 0, 0],
            "cluster_cap": [None, 8, None, 5, None, None, None],
            "host_release": ["", "9.0", "", "", "", "", ""],
        }
    )
    latency = pd.DataFrame(
        [
            ("S00", "H0", 12.0),
            ("S00", "H1", 15.0),
            ("S00", "H3", 30.0),
            ("S01", "H0", 15.0),
            ("S01", "H1", 6.0),
            ("S01", "H2", 10.0),
            ("S01", "H3", 15.0),
            ("S02", "H0", 10.0),
            ("S02", "H2", 10.0),
            ("S02", "H3", 10.0),
            ("S03", "H1", 25.0),
            ("S03", "H2", 15.0),
            ("S03", "H3", 12.0),
            ("S04", "H0", 5.0),
            ("S06", "H1", 15.0),
            ("S06", "H3", 5.0),
            ("S07", "H0", 7.0),
            ("S07", "H2", 20.0),
            ("S07", "H3", 9.0),
            ("S08", "H0", 8.0),
            ("S08", "H1", 8.0),
            ("S08", "H2", 25.0),
            ("S09", "H0", 9.0),
            ("S09", "H1", 12.0),
            ("S09", "H3", 14.0),
            ("S10", "H0", 30.0),
            ("S10", "H1", 10.0),
            ("S10", "H2", 30.0),
            ("S13", "H1", 5.0),
            ("S13", "H2", 10.0),
            ("S14", "H0", 5.0),
            ("S14", "H1", 5.0),
            ("S13", "H0", 36.0),
            ("S13", "H3", 25.0),
            ("S14", "H2", 24.0),
            ("S14", "H3", 30.0),
        ],
        columns=["site", "hub", "rtt_ms"],
    )
    policy = {"latency_budget_ms": 40, "cluster_cap": 6, "objective": "new_hosts"}
    policy |= {"max_blast_radius_hub": 10, "max_share_percent": 25}
    tables = {"Sites": sites, "Hubs": hubs, "Latency": latency}
    one, other = (
        planner.plan(planner.fleet_from_tables({**tables, "Hubs": rows}, policy)) for rows in (hubs, hubs[::-1])
    )
    assert one.assignments == other.assignments
