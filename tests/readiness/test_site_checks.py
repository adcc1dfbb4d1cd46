"""What is asked of a site by itself: each check passed, at its limit, broken, and not known."""

import pytest

NAN = float("nan")


def test_a_site_with_all_cells_right_is_ready(bench):
    (site,) = bench.audit().sites
    assert (site.site, site.clusters, site.outcome, site.items) == ("A", 2, "ready", ())


@pytest.mark.parametrize(
    ("column", "code"),
    [
        ("nodes", "nodes"),
        ("node_link_gbps", "node_link"),
        ("uplink_mbps", "uplink"),
        ("tie_breaker_kbps", "uplink"),
        ("node_link", "node_link"),
        ("tie_breaker_net", "own_network"),
        ("storage_net", "own_network"),
        ("management_net", "own_network"),
    ],
)
def test_a_blank_cell_is_an_item_that_names_its_column(bench, column, code):
    number = column in ("nodes", "node_link_gbps", "uplink_mbps", "tie_breaker_kbps")
    item = bench.site(**{column: NAN if number else ""}).only()
    assert (item.code, item.severity, item.site, item.columns) == (code, "unknown", "A", (column,))
    assert item.remedy.startswith(f"Fill in column {column}")
    (site,) = bench.audit().sites
    assert site.outcome == "ready_after"
    assert site.only_unknown


def test_a_site_of_which_nothing_is_known_has_an_item_for_each_thing(bench):
    known = ("site", "clusters", "latitude", "longitude")
    bench.sites[0] = {name: value for name, value in bench.sites[0].items() if name in known}
    found = bench.found()
    assert {severity for _, severity in found} == {"unknown"}
    assert [code for code, _ in found] == [
        *("nodes", "one_location", "release_floor", "management_floor", "node_link", "node_link", "node_link"),
        *("service_link", "storage", "storage", "storage"),
        *("own_network", "own_network", "own_network", "uplink", "uplink"),
    ]


# --- nodes and location ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [1, 3, 4])
def test_other_than_two_nodes_are_not_a_fit(bench, number):
    item = bench.site(nodes=number).only()
    assert (item.code, item.severity) == ("nodes", "blocks")
    assert item.detail.startswith(f"{number} data nodes")
    assert bench.audit().sites[0].outcome == "not_a_fit"


def test_a_cluster_over_two_locations_is_not_a_fit_whatever_its_link(bench):
    item = bench.site(node_locations=2).only()
    assert (item.code, item.severity) == ("one_location", "blocks")
    assert "2 locations" in item.detail


def test_a_direct_link_shows_one_location_and_a_switched_one_does_not(bench):
    assert bench.site(node_locations=NAN).found() == []
    item = bench.site(node_link="switched").only()
    assert (item.code, item.severity, item.columns) == ("one_location", "unknown", ("node_locations",))
    assert bench.site(node_locations=1).found() == []


def test_zones_that_are_two_places_leave_the_location_open(bench):
    bench.hubs.append({"hub": "S", "pool": "S", "latitude": 51.0, "longitude": -2.0})
    bench.hubs.append({"hub": "X", "pool": "X", "latitude": 53.0, "longitude": -2.0})
    bench.pairs.append({"site": "A", "hub": "X", "rtt_ms": 12.0})
    bench.site(node_locations=NAN, zone=("N", "S", "power-west"))
    item = bench.only()
    assert (item.code, item.severity) == ("one_location", "unknown")
    assert "N, S" in item.detail
    assert "power-west" not in item.detail
    assert bench.site(node_locations=1).found() == []
    assert bench.site(node_locations=NAN, zone=("N", "A")).found() == []  # one place beside itself
    bench.hubs[1].update(latitude=55.0)  # both hubs in one place
    assert bench.site(zone=("N", "S")).found() == []


# --- releases -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("release", "found"),
    [
        ("8.1.9", [("release_floor", "open"), ("management_floor", "open")]),
        ("8.2", [("management_floor", "open")]),
        ("8.3.9", [("management_floor", "open")]),
        ("8.4-rc1", [("management_floor", "open")]),
        ("8.4", []),
        ("8.4.0", []),
        ("8.10", []),
        ("", [("release_floor", "unknown"), ("management_floor", "unknown")]),
    ],
)
def test_releases_are_held_against_both_floors_and_a_floor_itself_is_reached(bench, release, found):
    assert bench.site(release=release).found() == found


def test_without_floors_no_release_is_asked_for_and_the_audit_says_so(bench):
    readiness = bench.site(release="").under(release_floor="", management_floor="").audit()
    assert readiness.sites[0].outcome == "ready"
    assert {check.code for check in readiness.checks if not check.asked} == {"release_floor", "management_floor"}
    assert sum("The policy sets no " in sentence for sentence in readiness.assumptions) == 2


# --- node link ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("link", ["direct", "switched"])
@pytest.mark.parametrize(
    ("gbps", "words"), [(9.9, "enough for"), (1, "enough for"), (0.99, "too slow even for"), (10, ""), (25, "")]
)
def test_the_node_link_is_held_against_ten_gigabits(bench, link, gbps, words):
    bench.site(node_link=link, node_link_gbps=gbps)
    if not words:
        assert bench.found() == []
        return
    item = bench.only()
    assert (item.code, item.severity) == ("node_link", "open")
    assert f"{link} link has {gbps:g} Gb/s, {words}" in item.detail
    assert "10 Gb/s or more" in item.remedy


def test_the_policy_says_what_a_node_link_needs(bench):
    assert bench.under(node_link_gbps=25).only().code == "node_link"
    assert bench.under(node_link_gbps=1).site(node_link_gbps=1).found() == []


# --- networks -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("column", ["storage_net", "management_net"])
@pytest.mark.parametrize(
    ("ours", "theirs", "severity", "words"),
    [
        ("30", "30", "open", "VLAN 30 is used for both"),
        ("VLAN 30", "vlan-id 30", "open", "VLAN 30 is used for both"),
        ("10.1.30.0/24", "10.1.0.0/16", "open", "10.1.30.0/24 and 10.1.0.0/16 overlap"),
        ("10.1.30.7/24", "10.1.30.0/24", "open", "10.1.30.0/24 is used for both"),
        ("2001:db8:0:30::/64", "2001:db8::/48", "open", "overlap"),
        ("30; 10.1.30.0/24", "31; 10.1.30.128/25", "open", "overlap"),
        ("30", "31", "", ""),
        ("10.1.30.0/25", "10.1.30.128/25", "", ""),
        ("2001:db8:0:30::/64", "2001:db8:0:31::/64", "", ""),
        ("30; 10.1.30.0/24", "10.1.31.0/24", "", ""),
        ("30", "10.1.30.0/24", "unknown", "VLAN against IPv4"),
        ("10.1.30.0/24", "2001:db8::/64", "unknown", "IPv4 against IPv6"),
        ("30; 10.1.30.0/24", "2001:db8::/64", "unknown", "IPv4 and VLAN against IPv6"),
    ],
)
def test_the_tie_breaker_network_is_apart_from_the_others_where_they_can_be_compared(
    bench, column, ours, theirs, severity, words
):
    other = {"storage_net": "management_net", "management_net": "storage_net"}[column]
    far = {"VLAN": "4000", "IPv4": "192.0.2.0/24", "IPv6": "2001:db8:ffff::/64"}
    apart = "; ".join(far.values())
    bench.site(**{"tie_breaker_net": ours, column: theirs, other: apart})
    if not severity:
        assert bench.found() == []
        return
    item = bench.only()
    assert (item.code, item.severity, item.columns) == ("own_network", severity, ("tie_breaker_net", column))
    assert words in item.detail
    assert column.removesuffix("_net") in item.detail


@pytest.mark.parametrize("text", ["0", "4095", "10.0.0.0/33", "10.0.0.5", "backbone", "10.0.0/24", "1,2"])
def test_a_network_that_cannot_be_read_is_not_known(bench, text):
    item = bench.site(storage_net=text).only()
    assert (item.code, item.severity, item.columns) == ("own_network", "unknown", ("storage_net",))
    assert "storage_net cannot be read" in item.detail


def test_storage_and_management_may_share_a_network(bench):
    assert bench.site(storage_net="20").found() == []


# --- uplink ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("mbps", "share", "enough"), [(0.2, 100, True), (0.199, 100, False), (2, 10, True)])
def test_the_traffic_of_all_clusters_may_take_its_share_of_the_uplink_and_no_more(bench, mbps, share, enough):
    bench.site(uplink_mbps=mbps).under(uplink_share_percent=share)  # 2 clusters of 100 kb/s
    assert (bench.found() == []) == enough
    if not enough:
        assert "200 kb/s exceeds 199 kb/s, 100 % of the uplink of 0.199 Mb/s" in bench.only().detail


@pytest.mark.parametrize("tenths", range(1, 60))
def test_a_limit_met_exactly_is_allowed_whatever_binary_fractions_make_of_it(bench, tenths):
    bench.site(clusters=1, uplink_mbps=tenths / 10, tie_breaker_kbps=tenths * 7).under(uplink_share_percent=7)
    assert bench.found() == []


def test_traffic_comes_from_the_policy_where_the_site_has_none(bench):
    bench.site(tie_breaker_kbps=NAN)
    assert bench.only().columns == ("tie_breaker_kbps",)
    assert bench.under(tie_breaker_kbps=64).found() == []
    assert bench.under(tie_breaker_kbps=1001).only().severity == "open"


# --- cables, service links and storage: common practice, no source ----------------------------------------------------


@pytest.mark.parametrize(
    ("cells", "code", "column"),
    [
        ({"node_links": 1.0}, "node_link", "node_links"),
        ({"service_link_gbps": 0.1}, "service_link", "service_link_gbps"),
        ({"storage_groups": 0.0}, "storage", "storage_groups"),
        ({"cache_devices": 0.0}, "storage", "cache_devices"),
        ({"storage_groups": 3.0, "cache_devices": 2.0}, "storage", "cache_devices"),
    ],
)
def test_equipment_below_common_practice_is_an_item(bench, cells, code, column):
    item = bench.site(**cells).only()
    assert (item.code, item.severity, item.columns) == (code, "open", (column,))


@pytest.mark.parametrize(
    "cells",
    [
        {"node_links": 2.0},
        {"node_links": 3.0},
        {"service_link_gbps": 1.0},
        {"storage_tiers": 1.0, "cache_devices": 0.0},
    ],
)
def test_equipment_at_common_practice_is_ready(bench, cells):
    (site,) = bench.site(**cells).audit().sites
    assert site.outcome == "ready"


def test_what_the_policy_asks_of_cables_and_service_links_counts(bench):
    assert bench.site(node_links=1.0, service_link_gbps=0.1).under(node_links=1, service_link_gbps=0.1).found() == []


@pytest.mark.parametrize(
    ("column", "code"),
    [
        ("node_links", "node_link"),
        ("service_link_gbps", "service_link"),
        ("storage_tiers", "storage"),
        ("storage_groups", "storage"),
        ("cache_devices", "storage"),
    ],
)
def test_equipment_that_is_not_known_is_an_item(bench, column, code):
    item = bench.site(**{column: NAN}).only()
    assert (item.code, item.severity, item.columns) == (code, "unknown", (column,))


def test_what_nobody_wrote_down_of_any_site_is_one_thing_for_the_fleet(bench):
    bench.site(node_link="", node_links=NAN)
    bench.sites.append({**bench.sites[0], "site": "B", "service_link_gbps": NAN})
    bench.pairs.append({**bench.pairs[0], "site": "B"})
    audit = bench.audit()
    assert audit.missing == ("node_link", "node_links")
    assert [kind.remedy.split()[3] for kind in audit.apart_from(audit.missing).most_frequent] == ["service_link_gbps"]
    assert len(audit.sites[0].items) == 2  # each site keeps its items
