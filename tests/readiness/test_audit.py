"""The audit as a whole: outcomes, counts, management servers by hub, and what must hold for any fleet."""

import dataclasses

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planner
from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.plan import Assignment, Plan
from tests.how_many import tries

NAN = float("nan")


@pytest.mark.parametrize("spared", [{"own_tie_breaker": "yes"}, {"clusters": 0.0}])
def test_nothing_is_asked_of_a_site_that_needs_no_host(bench, spared):
    (site,) = bench.site(nodes=3, **spared).audit().sites
    assert (site.outcome, site.items) == ("no_host_needed", ())


def test_a_possible_own_tie_breaker_does_not_spare_the_questions(bench):
    assert bench.site(own_tie_breaker="possible", nodes=3).audit().sites[0].outcome == "not_a_fit"


def test_counts_and_most_frequent_items(bench):
    for name, changes in (("B", {"node_link_gbps": 1.0}), ("C", {"node_link_gbps": 2.0}), ("D", {"nodes": 3.0})):
        bench.sites.append({**bench.sites[0], "site": name, **changes})
        bench.pairs.append({"site": name, "hub": "N", "rtt_ms": 5.0})
    bench.sites.append({**bench.sites[0], "site": "E", "tie_breaker_net": "10.0.0.0/24"})  # not comparable, twice
    bench.pairs.append({"site": "E", "hub": "N", "rtt_ms": 5.0})
    readiness = bench.audit()
    assert readiness.counts == {"ready": 1, "ready_after": 3, "not_a_fit": 1, "no_host_needed": 0}
    assert [(kind.sites, kind.code, kind.severity) for kind in readiness.most_frequent] == [
        (2, "node_link", "open"),
        (1, "nodes", "blocks"),
        (1, "own_network", "unknown"),
    ]
    assert len(readiness.items) == 5


# --- management servers ---------------------------------------------------------------------------------------------


@pytest.fixture
def below(bench):
    """Sites A and B below the management floor, C at it; both hubs in reach, S nearer for B, none for D."""
    bench.hubs.append({"hub": "S", "pool": "S", "latitude": 51.0, "longitude": -2.0})
    for name, release in (("B", "8.2"), ("C", "8.4"), ("D", "8.3")):
        bench.sites.append({**bench.sites[0], "site": name, "release": release})
    bench.site(release="8.2")
    bench.pairs[:] = [
        {"site": site, "hub": hub, "rtt_ms": rtt}
        for site, hub, rtt in (("A", "N", 5.0), ("A", "S", 6.0), ("B", "N", 9.0), ("B", "S", 8.0), ("C", "N", 1.0))
    ]
    return bench


def test_sites_below_the_management_floor_are_counted_by_their_nearest_eligible_hub(below):
    readiness = below.audit()
    assert readiness.management_by == "nearest_hub"
    counted = [(count.hub, count.sites, count.clusters) for count in readiness.management]
    assert counted == [("", 1, 2), ("N", 1, 2), ("S", 1, 2)]


def test_with_a_plan_they_are_counted_by_the_hubs_that_it_assigns(below):
    def row(site, hub, clusters):
        return Assignment(site, f"{hub}-01", hub, clusters, 5.0, 20.0, "measured")

    plan = Plan("optimal", "hosts", 1, 1, (), (row("A", "S", 1), row("A", "N", 1), row("B", "N", 2), row("C", "N", 2)))
    readiness = below.audit().for_plan(plan)
    counted = [(count.hub, count.sites, count.clusters) for count in readiness.management]
    assert readiness.management_by == "plan"
    assert counted == [("", 1, 2), ("N", 2, 3), ("S", 1, 1)]
    assert readiness.sites == below.audit().sites


def test_an_unknown_release_is_an_item_and_not_counted(below):
    below.sites[0]["release"] = ""
    assert sum(count.sites for count in below.audit().management) == 2


# --- any fleet ------------------------------------------------------------------------------------------------------

CELLS = st.fixed_dictionaries(
    {
        "clusters": st.sampled_from([0.0, 1.0, 2.0, NAN]),
        "nodes": st.sampled_from([1.0, 2.0, 3.0, NAN]),
        "node_locations": st.sampled_from([1.0, 2.0, NAN]),
        "release": st.sampled_from(["", "8.1", "8.2", "8.4"]),
        "node_link": st.sampled_from(["", "direct", "switched"]),
        "node_link_gbps": st.sampled_from([0.5, 1.0, 10.0, 25.0, NAN]),
        "uplink_mbps": st.sampled_from([0.1, 1.0, NAN]),
        "tie_breaker_kbps": st.sampled_from([0.0, 100.0, 500.0, NAN]),
        "tie_breaker_net": st.sampled_from(["", "30", "10.0.0.0/24", "x"]),
        "storage_net": st.sampled_from(["", "30", "10", "10.0.0.0/8"]),
        "management_net": st.sampled_from(["", "20", "2001:db8::/64"]),
        "zone": st.sampled_from([(), ("feed",), ("N", "S")]),
        "latitude": st.sampled_from([54.0, NAN]),
        "longitude": st.just(-2.0),
        "own_tie_breaker": st.sampled_from(["", "yes", "possible"]),
    }
)
ROWS = st.lists(
    st.tuples(CELLS, st.sampled_from([NAN, 5.0, 15.0]), st.sampled_from([NAN, 5.0])), min_size=1, max_size=6
)
POLICIES = st.builds(
    Policy,
    latency_budget_ms=st.just(10.0),
    release_floor=st.sampled_from(["", "8.2"]),
    management_floor=st.sampled_from(["", "8.4"]),
    third_location_km=st.sampled_from([0.0, 50.0, 200.0]),
)


def fleet_of(rows, policy):
    names = [f"A{number}" for number in range(len(rows))]
    cells = {name: [row[name] for row, _, _ in rows] for name in rows[0][0]}
    pairs = [
        (name, hub, rtt)
        for name, (_, *rtts) in zip(names, rows, strict=True)
        for hub, rtt in zip("NS", rtts, strict=True)
    ]
    latency = dict(zip(("site", "hub", "rtt_ms"), map(list, zip(*pairs, strict=True)), strict=True))
    hubs = {"hub": ["N", "S"], "pool": ["N", "S"], "zone": [("feed",), ()], "latitude": [55.0, NAN]}
    return Fleet(
        typed_table(columns.SITES, {"site": names, **cells}),
        typed_table(columns.HUBS, {**hubs, "longitude": [-2.0, -2.0]}),
        latency=typed_table(columns.LATENCY, latency),
        policy=policy,
    )


@settings(max_examples=tries(20), deadline=None)
@given(ROWS, POLICIES)
def test_outcomes_follow_from_items_and_items_are_complete(rows, policy):
    fleet = fleet_of(rows, policy)
    readiness = planner.audit(fleet)
    codes = {check.code for check in readiness.checks}
    left_out = {check.code for check in readiness.checks if not check.asked}
    assert [site.site for site in readiness.sites] == list(fleet.site_ids)
    assert sum(readiness.counts.values()) == len(fleet.site_ids)
    for site in readiness.sites:
        severities = {item.severity for item in site.items}
        spared = site.outcome == "no_host_needed"
        assert spared == ((fleet.clusters == 0) | (fleet.own_tie_breaker == "yes"))[fleet.site_ids.index(site.site)]
        if not spared:
            worst = "not_a_fit" if "blocks" in severities else "ready_after" if severities else "ready"
            assert site.outcome == worst
        for item in site.items:
            assert item.code in codes - left_out
            assert item.site == site.site
            assert item.detail
            assert item.remedy.endswith(".")
            assert set(item.columns) <= set(columns.SITES.names)


@settings(max_examples=tries(15), deadline=None)
@given(ROWS, POLICIES, st.randoms())
def test_the_order_of_sites_does_not_matter(rows, policy, rng):
    fleet = fleet_of(rows, policy)
    order = list(range(len(rows)))
    rng.shuffle(order)
    mixed = planner.audit(fleet.replace(sites=fleet.sites.iloc[order].reset_index(drop=True)))
    straight = planner.audit(fleet)
    assert sorted(mixed.sites, key=lambda s: s.site) == sorted(straight.sites, key=lambda s: s.site)
    assert mixed.management == straight.management


@settings(max_examples=tries(15), deadline=None)
@given(ROWS, POLICIES)
def test_a_ready_site_is_eligible_somewhere_and_a_served_one_has_a_hub(rows, policy):
    """What the audit calls ready, the rules let use a host; readiness asks for more, never for less."""
    fleet = fleet_of(rows, policy)
    from planner.rules import Checker

    eligible = {fleet.site_ids[site] for site in Checker(fleet).eligible().site}
    for site in planner.audit(fleet).sites:
        if site.outcome == "ready":
            assert site.site in eligible
        hub_items = {item.code for item in site.items} & {"eligible_hub", "third_location"}
        if site.outcome != "no_host_needed" and site.site not in eligible:
            assert hub_items or {"nodes", "release_floor"} & {item.code for item in site.items}


@settings(max_examples=tries(15), deadline=None)
@given(ROWS, POLICIES)
def test_asking_for_less_adds_no_item(rows, policy):
    fleet = fleet_of(rows, policy)
    easy = policy.replace(release_floor="", management_floor="", node_link_gbps=0.0)
    strict, lax = (planner.audit(fleet.replace(policy=one)) for one in (policy, easy))
    assert set(lax.items) <= set(strict.items)


def test_the_audit_is_frozen_and_leaves_the_fleet_as_it_was(bench):
    fleet = bench.fleet()
    before = fleet.sites.copy()
    readiness = planner.audit(fleet)
    pd.testing.assert_frame_equal(fleet.sites, before)
    with pytest.raises(dataclasses.FrozenInstanceError):
        readiness.sites = ()


def test_readiness_changes_no_plan(bench):
    bench.sites.append({**bench.sites[0], "site": "B"})
    bench.pairs.append({"site": "B", "hub": "N", "rtt_ms": 5.0})
    before = planner.plan(bench.fleet())
    bench.site(node_locations=2.0, node_link="switched", node_link_gbps=1.0, uplink_mbps=0.1, storage_net="30")
    bench.under(management_floor="9.0", node_link_gbps=100.0, uplink_share_percent=1.0)
    assert bench.audit().counts["ready"] == 0
    assert bench.audit().sites[0].outcome == "not_a_fit"
    after = planner.plan(bench.fleet())
    assert (after.assignments, after.host_list, after.unserved) == (before.assignments, before.host_list, ())
