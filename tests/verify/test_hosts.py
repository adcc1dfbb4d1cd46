"""Hosts against the pools of the fleet, and their loads against the assignments."""

from dataclasses import replace

import pytest


def another_host(desk, name: str, **changes):
    """Add a host to pool S, and count it."""
    hosts = (*desk.plan.host_list, replace(desk.plan.host_list[1], host=name, clusters=0, **changes))
    return desk.of_plan(host_list=hosts, objective_value=len(hosts), lower_bound=len(hosts))


@pytest.mark.parametrize(
    ("change", "expected", "figures"),
    [
        (lambda d: another_host(d, ""), ("host_name", "host "), "a host has no name"),
        (
            lambda d: d.host("S-01", clusters=2),
            ("load", "host S-01"),
            "the plan says that it carries 2 clusters; it assigns 3 to it",
        ),
        (
            lambda d: d.host("S-01", clusters=None),
            ("load", "host S-01"),
            "the plan says that it carries None clusters; it assigns 3 to it",
        ),
        (lambda d: another_host(d, "S-02", pool="T"), ("unknown_pool", "host S-02"), "no pool T"),
        (
            lambda d: another_host(d, "S-02", hub="N"),
            ("hub", "host S-02"),
            "the plan puts it at hub N; its pool S is at hub S",
        ),
        (lambda d: d.host("N-01", cap=64), ("claim", "host N-01"), "the plan gives 64 as its cap; the fleet gives 10"),
        (
            lambda d: d.host("N-01", usable=10),
            ("claim", "host N-01"),
            "the plan gives 10 as its cap without the reserve; the fleet gives 9",
        ),
        (
            lambda d: d.host("N-01", release="8.5"),
            ("claim", "host N-01"),
            "the plan gives '8.5' as its release; the fleet gives '8.4'",
        ),
        (
            lambda d: d.host("N-01", release="8.40"),
            ("claim", "host N-01"),
            "the plan gives '8.40' as its release; the fleet gives '8.4'",
        ),
        (
            lambda d: d.pool("S", max_hosts=0),
            ("max_hosts", "pool S"),
            "1 hosts of the pool are in use; at most 0 are allowed",
        ),
        (
            lambda d: d.policy(max_hosts_per_hub=0).pool("S", max_hosts=None),
            ("max_hosts", "pool S"),
            "1 hosts of the pool are in use; at most 0 are allowed",
        ),
        (
            lambda d: d.pool("S", rack_units=3, host_rack_units=4),
            ("rack_units", "hub S"),
            "4 rack units are in use; at most 3 are allowed",
        ),
        (lambda d: d.policy(host_rack_units=3).pool("N", rack_units=2), ("rack_units", "hub N"), "3 rack units"),
        (
            lambda d: d.host("S-01", existing=True),
            ("existing_hosts", "pool S"),
            "the plan counts 1 hosts as existing; the fleet has 0",
        ),
    ],
)
def test_a_host_that_is_not_as_the_fleet_says_is_found(desk, change, expected, figures) -> None:
    violations = change(desk).everything()
    assert [(v.code, v.where) for v in violations] == [expected]
    assert figures in violations[0].message


def test_two_hosts_of_one_name_are_found(desk) -> None:
    assert ("host_name", "host S-01") in another_host(desk, "S-01").found()


@pytest.mark.parametrize(
    ("clusters", "reserve", "found"), [(9, 10, 0), (10, 10, 1), (10, 0, 0), (8, 25, 1), (7, 25, 0)]
)
def test_a_host_may_be_filled_up_to_what_the_reserve_leaves(desk, clusters, reserve, found) -> None:
    usable = 10 * (100 - reserve) // 100
    desk.site("C", clusters=clusters).row("C", clusters=clusters).policy(reserve_percent=reserve)
    desk.host("S-01", clusters=clusters, usable=usable).host("N-01", usable=usable)
    assert desk.found() == [("capacity", "host S-01")] * found


def test_reserve_is_taken_in_decimals_and_not_in_binary_fractions(desk) -> None:
    desk.policy(reserve_percent=14.4, cluster_cap=375)  # 375 * 0.856 = 321, but 375 * (100 - 14.4) / 100 < 321
    assert int(375 * (100 - 14.4) / 100) == 320
    assert desk.host("N-01", cap=375, usable=321).host("S-01", cap=375, usable=321).everything() == ()


def test_blast_radius_limits_a_host_below_its_cap(desk) -> None:
    desk.policy(max_blast_radius=2).host("N-01", usable=2).host("S-01", usable=2)
    assert desk.found() == [("capacity", "host N-01"), ("capacity", "host S-01")]


def test_existing_hosts_fit_even_where_the_policy_allows_fewer(desk) -> None:
    assert desk.pool("N", max_hosts=None).policy(max_hosts_per_hub=0).found() == []


def test_a_pool_has_its_own_cap(desk) -> None:
    assert desk.pool("N", cluster_cap=20).host("N-01", cap=20, usable=18).everything() == ()


@pytest.mark.parametrize(
    ("uplink_mbps", "found"),
    [(0.5, 0), (0.499, 1), (None, 0)],
)
def test_the_tie_breaker_traffic_of_all_sites_fits_the_uplink_of_the_hub(desk, uplink_mbps, found) -> None:
    """A sends 1 x 100 and B 2 x 200 kb/s to hub N."""
    desk.site("A", tie_breaker_kbps=100).site("B", tie_breaker_kbps=200).pool("N", uplink_mbps=uplink_mbps)
    violations = desk.everything()
    assert [(v.code, v.where) for v in violations] == [("uplink", "hub N")] * found
    assert all("send 500 kb/s of tie-breaker traffic; its uplink carries 499 kb/s" in v.message for v in violations)


def test_of_pools_that_state_different_uplinks_the_least_holds_for_their_hub(desk) -> None:
    """All sites are on pool N; pool S, brought to the same hub, states the smaller uplink."""
    desk.pool("S", hub="N", uplink_mbps=0.1).pool("N", uplink_mbps=9).site("B", tie_breaker_kbps=60)
    assert ("uplink", "hub N") in desk.found()
    assert ("uplink", "hub N") not in desk.pool("S", uplink_mbps=0.2).found()


@pytest.mark.parametrize(
    ("policy", "found", "figures"),
    [
        ({"max_blast_radius_hub": 3}, [], ""),
        ({"max_blast_radius_hub": 2}, ["hub N", "hub S"], "hits 3 clusters; max_blast_radius_hub allows 2"),
        ({"max_blast_radius_zone": 3}, [], ""),
        (
            {"max_blast_radius_zone": 2},
            ["hub N", "hub S", "zone power-n"],
            "3 clusters; max_blast_radius_zone allows 2",
        ),
        ({"max_share_percent": 60}, [], ""),
        ({"max_share_percent": 59.9}, ["host N-01"], "hits 60 % of the weight; max_share_percent allows 59.9 %"),
        ({"max_share_percent_hub": 60}, [], ""),
        ({"max_share_percent_hub": 59.9}, ["hub N"], "hits 60 % of the weight; max_share_percent_hub allows 59.9 %"),
        ({"max_share_percent_zone": 60}, [], ""),
        ({"max_share_percent_zone": 59.9}, ["hub N", "zone power-n"], "60 % of the weight; max_share_percent_zone"),
    ],
)
def test_what_one_loss_hits_is_added_up_for_hosts_hubs_and_zones(desk, policy, found, figures) -> None:
    """N carries A and B, 3 clusters and a weight of 6 of 10; S carries C, 3 clusters and 2; F weighs 2 too."""
    desk.site("A", weight=4).site("B", weight=2).site("C", weight=2).site("F", weight=2).policy(**policy)
    told = [v for v in desk.everything() if v.code == "blast_radius" and not v.where.startswith("site")]
    assert sorted(v.where for v in told) == found
    assert all(figures in v.message for v in told)


def test_a_zone_takes_every_hub_that_names_it_in_any_row(desk) -> None:
    """Pool S in the zone of N as well: all 6 clusters are hit by it."""
    desk.pool("S", zone=("power-n",)).policy(max_blast_radius_zone=5)
    assert ("blast_radius", "zone power-n") in desk.found()
    assert desk.policy(max_blast_radius_zone=6).found() == []


def test_a_share_of_equal_clusters_is_a_smaller_usable_cap(desk) -> None:
    """Weights go with clusters: of 7 that need a host (F may), 43 % are 3.01, so a host may carry 3."""
    desk.site("B", weight=2).site("C", weight=3).policy(max_share_percent=43)
    desk.host("N-01", usable=3).host("S-01", usable=3)
    assert desk.found() == []
    desk.policy(max_share_percent=42).host("N-01", usable=2).host("S-01", usable=2)
    hosts = {("capacity", "host N-01"), ("capacity", "host S-01"), ("blast_radius", "host N-01")}
    assert hosts <= set(desk.found())


@pytest.mark.parametrize(
    "policy",
    [
        {"max_blast_radius_hub": 2},
        {"max_blast_radius_zone": 2},
        {"max_share_percent": 40},
        {"max_share_percent_hub": 40},
        {"max_share_percent_zone": 40},
    ],
)
def test_a_site_that_breaks_a_limit_alone_is_found_unless_it_may_be_split(desk, policy) -> None:
    """C brings 3 clusters and a weight of 5 of 8."""
    desk.site("C", weight=5).site("F", own_tie_breaker="yes").policy(**policy)
    assert ("blast_radius", "site C") in desk.found()
    assert ("blast_radius", "site C") not in desk.policy(split_sites=True).found()
