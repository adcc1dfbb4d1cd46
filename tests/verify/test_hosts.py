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
        (lambda d: another_host(d, ""), ("host_name", "host "), "1 hosts are called ''"),
        (lambda d: d.host("S-01", clusters=2), ("load", "host S-01"), "carry 2 clusters, its assignments add up to 3"),
        (lambda d: d.host("S-01", clusters=None), ("load", "host S-01"), "carry None clusters"),
        (lambda d: another_host(d, "S-02", pool="T"), ("unknown_pool", "host S-02"), "no pool T"),
        (lambda d: another_host(d, "S-02", hub="N"), ("hub", "host S-02"), "stands at hub N, but pool S is at S"),
        (lambda d: d.host("N-01", cap=64), ("claim", "host N-01"), "cap 64, the fleet says 10"),
        (lambda d: d.host("N-01", usable=10), ("claim", "host N-01"), "usable cap 10, the fleet says 9"),
        (lambda d: d.host("N-01", release="8.5"), ("claim", "host N-01"), "release '8.5', the fleet says '8.4'"),
        (lambda d: d.host("N-01", release="8.40"), ("claim", "host N-01"), "release '8.40', the fleet says '8.4'"),
        (lambda d: d.pool("S", max_hosts=0), ("max_hosts", "pool S"), "1 hosts run, 0 fit"),
        (lambda d: d.policy(max_hosts_per_hub=0).pool("S", max_hosts=None), ("max_hosts", "pool S"), "0 fit"),
        (lambda d: d.host("S-01", existing=True), ("existing_hosts", "pool S"), "1 hosts are called existing, 0 exist"),
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
    assert all("500 kb/s exceeds the uplink of 499 kb/s" in v.message for v in violations)


def test_of_pools_that_state_different_uplinks_the_least_holds_for_their_hub(desk) -> None:
    """All sites are on pool N; pool S, brought to the same hub, states the smaller uplink."""
    desk.pool("S", hub="N", uplink_mbps=0.1).pool("N", uplink_mbps=9).site("B", tie_breaker_kbps=60)
    assert ("uplink", "hub N") in desk.found()
    assert ("uplink", "hub N") not in desk.pool("S", uplink_mbps=0.2).found()
