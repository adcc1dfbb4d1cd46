"""The rules are read twice, for planning in arrays and here one pair at a time: both must say the same of any fleet."""

import math
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.rules import Checker
from planner.verify.inventory import read_inventory
from planner.verify.rules import RULE_CODES, broken_rules, eligible
from tests.how_many import tries

BLANK = math.nan
RELEASES = ("", "8.1", "8.2", "8.2-rc1", "8.10", "9.0", "8.2 SP1")
ZONES = ((), (), (), ("a",), ("b", "a"), ("c",))


def any_fleet(random: Random) -> Fleet:
    """Up to 6 sites and 5 pools at 3 hubs, every column of every rule filled or blank."""

    def column(size: int, *values: object) -> list:
        return [random.choice(values) for _ in range(size)]

    sites, pools = random.randint(1, 6), random.randint(1, 5)
    site_ids = [random.choice(["h0", "s0"]), *(f"s{i}" for i in range(1, sites))]
    hub_ids = [f"h{j % 3}" for j in range(pools)]
    pairs = [(site, hub) for site in site_ids for hub in dict.fromkeys(hub_ids) if random.random() < 0.8]
    probes = [(random.choice(site_ids), random.choice(hub_ids)) for _ in range(10)]
    return Fleet(
        typed_table(
            columns.SITES,
            {
                "site": site_ids,
                "region": column(sites, "", "North", " north", "South"),
                "latitude": column(sites, BLANK, 54.0, 54.0, 54.5),
                "longitude": column(sites, BLANK, -1.0, -1.0, -1.0, -2.0),
                "clusters": column(sites, BLANK, 0, 1, 2, 5),
                "weight": column(sites, BLANK, 1, 2.5) if random.random() < 0.5 else [1.0] * sites,
                "release": column(sites, *RELEASES),
                "latency_budget_ms": column(sites, BLANK, 20, 30),
                "zone": column(sites, *ZONES),
                "pinned_hub": column(sites, "", "", "", "", "", "h0"),
                "barred_hubs": column(sites, (), (), (), (), ("h0",), ("h1", "elsewhere")),
                "own_tie_breaker": column(sites, "", "no", "no", "yes", "possible"),
                "nodes": column(sites, BLANK, 2, 2, 2, 2, 2, 3),
                "tie_breaker_kbps": column(sites, BLANK, 100, 250),
            },
        ),
        typed_table(
            columns.HUBS,
            {
                "hub": hub_ids,
                "pool": [f"p{j}" for j in range(pools)],
                "latitude": column(pools, BLANK, 53.0, 53.0, 55.0),
                "longitude": [-1.0] * pools,
                "zone": column(pools, *ZONES),
                "max_hosts": column(pools, BLANK, 0, 1, 1),
                "existing_hosts": column(pools, BLANK, 0, 1),
                "host_release": column(pools, *RELEASES, "9.0", "9.0"),
                "cluster_cap": column(pools, BLANK, 3, 6),
                "uplink_mbps": column(pools, BLANK, BLANK, 0.2, 0.5),
                "serves_regions": column(pools, (), (), (), (), ("north",), ("NORTH ", "south")),
            },
        ),
        latency=typed_table(
            columns.LATENCY,
            {
                "site": [site for site, _ in pairs],
                "hub": [hub for _, hub in pairs],
                "rtt_ms": column(len(pairs), BLANK, 5, 20, 20.0001, 30, 31),
                "loss_percent": column(len(pairs), BLANK, 0, 1, 1.5),
                "measured_at": column(
                    len(pairs), None, *("2026-10-25T23:00", "2026-10-26T00:00", "2026-11-20T10:00") * 2
                ),
            },
        ),
        samples=typed_table(
            columns.SAMPLES,
            {
                "site": [site for site, _ in probes],
                "hub": [hub for _, hub in probes],
                "rtt_ms": column(len(probes), BLANK, 5, 10),
            },
        ),
        links=typed_table(columns.LINKS, {"from": ["s1", "s2"], "to": ["h0", "h1"], "air_km": [900, 2500]}),
        policy=Policy(
            cluster_cap=4,
            release_floor=random.choice(["", "", "8.2"]),
            latency_budget_ms=25,
            reserve_percent=random.choice([0, 10, 33.3]),
            max_blast_radius=random.choice([None, 5]),
            max_blast_radius_hub=random.choice([*[None] * 7, 2]),
            max_blast_radius_zone=random.choice([*[None] * 7, 4]),
            max_share_percent=random.choice([*[None] * 7, 33.3]),
            max_share_percent_hub=random.choice([*[None] * 7, 50]),
            max_share_percent_zone=random.choice([*[None] * 7, 40]),
            host_release_rule=random.choice(["not_older", "any", "same_major"]),
            unknown_latency=random.choice(["ineligible", "estimate"]),
            accepted_evidence=random.choice(["measured", "modelled", *["estimated"] * 5]),
            max_age_days=random.choice([None, 30]),
            old_latency=random.choice(["warn", "warn", "warn", "ineligible"]),
            as_of="2026-11-25",
            third_location_km=random.choice([0, 0, 0, 100, 200]),
            split_sites=random.choice([True, False]),
            max_hosts_per_hub=random.choice([0, 3, 3]),
            percentile=random.choice([50, 95]),
            max_loss_percent=random.choice([1, 40]),
            host_release=random.choice(["", "8.2"]),
        ),
    )


@settings(deadline=None, max_examples=tries(20))
@given(st.integers(0, 2**32).map(Random).map(any_fleet))
def test_both_readings_of_the_rules_name_the_same_eligible_pairs(fleet: Fleet) -> None:
    inventory, pairs = read_inventory(fleet), Checker(fleet).eligible()
    one_by_one = {
        (site.site, pool.pool)
        for site in inventory.sites.values()
        for pool in inventory.pools.values()
        if site.needs_host and eligible(inventory, site, pool)
    }
    in_arrays = {(fleet.site_ids[s], fleet.pool_ids[p]) for s, p in zip(pairs.site, pairs.pool, strict=True)}
    assert one_by_one == in_arrays


@settings(deadline=None, max_examples=tries(20))
@given(st.integers(0, 2**32).map(Random).map(any_fleet))
def test_both_readings_of_the_rules_name_the_same_standbys(fleet: Fleet) -> None:
    """Those of sites that have a home: limits of the ordinary day, uplinks and blast radii, keep no standby away."""
    inventory, pairs = read_inventory(fleet), Checker(fleet).eligible_with_standbys()
    one_by_one = {
        (site.site, pool.pool)
        for site in inventory.sites.values()
        if site.needs_host and any(eligible(inventory, site, pool) for pool in inventory.pools.values())
        for pool in inventory.pools.values()
        if eligible(inventory, site, pool, standby=True)
    }
    in_arrays = {(fleet.site_ids[s], fleet.pool_ids[p]) for s, p in zip(pairs.site, pairs.pool, strict=True)}
    assert one_by_one == in_arrays


def test_the_fleets_of_this_file_break_and_keep_every_rule() -> None:
    """Otherwise the comparison above could agree on nothing."""
    fleets = [any_fleet(Random(seed)) for seed in range(120)]
    inventories = [read_inventory(fleet) for fleet in fleets]
    pairs = [(i, site, pool) for i in inventories for site in i.sites.values() for pool in i.pools.values()]
    assert {code for pair in pairs for code, _ in broken_rules(*pair)} == RULE_CODES
    assert sum(eligible(*pair) for pair in pairs) > 50
    assert sum(eligible(*pair, standby=True) and not eligible(*pair) for pair in pairs) > 5
