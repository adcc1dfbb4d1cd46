"""Every rule broken once, every rule kept at its exact limit, and every claim of an assignment changed once."""

import math
import re

import pytest

from planner.latency import distance_km
from planner.plan import Reason, Unserved


def test_the_plan_of_the_desk_holds(desk) -> None:
    assert desk.everything() == ()


@pytest.mark.parametrize(
    ("change", "code", "where", "figures"),
    [
        (
            lambda d: d.pair("A", "N", rtt_ms=40.001),
            "latency",
            "A",
            "its RTT to hub N is 40.001 ms; its budget is 40 ms",
        ),
        (
            lambda d: d.site("B", latency_budget_ms=9.5).row("B", budget_ms=9.5),
            "latency",
            "B",
            "its RTT to hub N is 10 ms; its budget is 9.5 ms",
        ),
        (
            lambda d: d.pair("A", "N", rtt_ms=math.inf).row("A", rtt_ms=math.inf),
            "latency",
            "A",
            "no probe to hub N was answered in time, so its RTT counts as above every budget",
        ),
        (lambda d: d.pair("B", "N", rtt_ms=math.nan), "unknown_latency", "B", "its RTT to hub N is not known"),
        (
            lambda d: d.pair("A", "N", loss_percent=1.01),
            "loss",
            "A",
            "1.01 % of the probes to hub N are lost; 1 % are allowed",
        ),
        (
            lambda d: d.site("A", release="8.2-rc1"),
            "release_floor",
            "A",
            "its release 8.2-rc1 is older than the release floor 8.2",
        ),
        (lambda d: d.site("A", release=""), "release_floor", "A", "its release is not known; the release floor is 8.2"),
        (
            lambda d: d.site("B", release="8.10"),
            "host_release",
            "B",
            "the host's release 8.4 is older than its own, 8.10",
        ),
        (
            lambda d: d.policy(host_release_rule="same_major", host_release="9.0").host("S-01", release="9.0"),
            "host_release",
            "C",
            "the host's release 9.0 and its own, 8.4, begin with different numbers",
        ),
        (
            lambda d: d.site("A", zone=("x", "power-n")),
            "third_location",
            "A",
            "it is in the same failure zone as pool N: power-n",
        ),
        (
            lambda d: d.policy(third_location_km=140),
            "third_location",
            "B",
            "pool N is 111.324 km away; at least 140 km are needed",
        ),
        (
            lambda d: d.site("A", longitude=math.nan),
            "third_location",
            "A",
            "its distance to pool N is not known; at least 100 km are needed",
        ),
        (
            lambda d: d.pool("S", latitude=math.nan),
            "third_location",
            "C",
            "its distance to pool S is not known; at least 100 km are needed",
        ),
        (lambda d: d.site("B", region="West"), "region", "B", "pool N serves only north; its region is west"),
        (lambda d: d.site("B", region=""), "region", "B", "pool N serves only north; its region is (blank)"),
        (lambda d: d.site("B", pinned_hub="S"), "pinned_hub", "B", "it must go to hub S (pinned_hub), but is at N"),
        (lambda d: d.site("B", barred_hubs=("X", "N")), "barred_hub", "B", "it must not go to hub N (barred_hubs)"),
        (lambda d: d.site("A", nodes=3), "nodes", "A", "3 data nodes"),
    ],
)
def test_a_broken_rule_is_found_by_its_code_with_site_and_figures(desk, change, code, where, figures) -> None:
    violations = [v for v in change(desk).everything() if v.code != "claim"]
    assert [(v.code, v.where, v.severity) for v in violations] == [(code, f"site {where}", "violation")]
    assert figures in violations[0].message


def test_a_hub_that_is_the_site_itself_is_no_third_location(desk) -> None:
    desk.policy(third_location_km=0).site("A", site="N").row("A", site="N").pair("A", "N", site="N").today(
        "A", site="N"
    )
    assert desk.found() == [("third_location", "site N")]


@pytest.mark.parametrize("release", ["unknown", "8.2-1"])
def test_a_release_without_an_order_meets_neither_floor_nor_host(desk, release) -> None:
    assert desk.site("A", release=release).found() == [("release_floor", "site A"), ("host_release", "site A")]


def test_a_site_without_any_budget_keeps_none(desk) -> None:
    desk.policy(latency_budget_ms=None)
    assert ("latency", "site A") in desk.found()
    assert any("no latency budget is known" in v.message for v in desk.everything())


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d.pair("A", "N", rtt_ms=40),
        lambda d: d.pair("A", "N", loss_percent=1),
        lambda d: d.pair("A", "N", loss_percent=math.nan),
        lambda d: d.site("A", release="8.2.0"),
        lambda d: d.policy(release_floor="").site("A", release=""),
        lambda d: d.site("B", release="8.4"),
        lambda d: d.site("B", release="8.5").policy(host_release_rule="any"),
        lambda d: d.site("B", release="8.5").policy(host_release_rule="same_major"),
        lambda d: d.policy(release_floor="").site("B", release=""),
        lambda d: (
            d.pool("N", host_release="").policy(host_release="").host("N-01", release="").host("S-01", release="")
        ),
        lambda d: d.policy(third_location_km=float(distance_km(54.5, -2, 55.5, -2))),
        lambda d: d.policy(third_location_km=0).site("A", latitude=math.nan),
        lambda d: d.pool("N", serves_regions=()).site("B", region="West"),
        lambda d: d.pool("N", serves_regions=("west", " North ")),
        lambda d: d.site("B", pinned_hub="N"),
        lambda d: d.site("B", barred_hubs=("S",)),
        lambda d: d.site("A", nodes=2),
    ],
)
def test_a_rule_is_kept_at_its_limit_and_where_it_does_not_apply(desk, change) -> None:
    assert change(desk).everything() == ()


@pytest.mark.parametrize(
    ("change", "code", "where", "figures"),
    [
        (
            lambda d: d.row("A", rtt_ms=39.9),
            "claim",
            "A",
            "the plan gives 39.9 ms as the RTT to hub N; the fleet gives 40 ms",
        ),
        (
            lambda d: d.row("A", rtt_ms=math.nan),
            "claim",
            "A",
            "the plan gives nan ms as the RTT to hub N; the fleet gives 40 ms",
        ),
        (
            lambda d: d.row("A", budget_ms=50),
            "claim",
            "A",
            "the plan gives 50 ms as the latency budget; the fleet gives 40 ms",
        ),
        (
            lambda d: d.row("A", evidence="estimated"),
            "claim",
            "A",
            "the plan calls the RTT to hub N estimated; in the fleet it is measured",
        ),
        (lambda d: d.row("C", hub="N"), "hub", "C", "assigned to hub N, but its host S-01 is at hub S"),
        (
            lambda d: d.row("A", action="attach"),
            "current",
            "A",
            "the plan calls the change 'attach'; a change from N-01 to N-01 is 'keep'",
        ),
        (
            lambda d: d.row("B", action="keep"),
            "current",
            "B",
            "the plan calls the change 'keep'; a change from S to N-01 is 'move'",
        ),
        (
            lambda d: d.row("C", action="move"),
            "current",
            "C",
            "the plan calls the change 'move'; a change from no host to S-01 is 'attach'",
        ),
        (
            lambda d: d.row("A", moved_from="S-09"),
            "current",
            "A",
            "the plan says that the site leaves S-09, but it does not move",
        ),
        (
            lambda d: d.row("B", moved_from=None),
            "current",
            "B",
            "the plan says that the site leaves no host; the sheet Current says S",
        ),
        (
            lambda d: d.row("B", moved_from="N"),
            "current",
            "B",
            "the plan says that the site leaves N; the sheet Current says S",
        ),
        (
            lambda d: d.row("C", moved_from="N"),
            "current",
            "C",
            "the plan says that the site leaves N, but it does not move",
        ),
        (
            lambda d: d.today("A", hub="S"),
            "current",
            "A",
            "the plan calls the change 'keep'; a change from N-01 to N-01 is 'move' / the plan says "
            "that the site leaves no host; the sheet Current says N-01",
        ),
    ],
)
def test_a_wrong_claim_is_found(desk, change, code, where, figures) -> None:
    violations = change(desk).everything()
    assert {(v.code, v.where) for v in violations} == {(code, f"site {where}")}
    assert re.search(re.escape(figures), " / ".join(v.message for v in violations))


def test_an_assignment_to_a_host_that_does_not_run_is_found(desk) -> None:
    assert desk.row("C", host="S-02").found() == [("unknown_host", "site C"), ("load", "host S-01")]


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d.row("C", rtt_ms=12.3),  # a workbook shows one decimal
        lambda d: d.row("A", rtt_ms=40.05),
        lambda d: d.today("B", hub="N").row("B", action="keep", moved_from=None),  # no host named: the hub decides
        lambda d: d.pool("N", existing_hosts=2).today("A", host="N-07").row("A", action="move", moved_from="N-07"),
        lambda d: d.today("A", hub="gone", host="X").row("A", action="move", moved_from="X"),
        lambda d: d.row("A", moved_from=""),
    ],
)
def test_roundings_and_other_ways_to_be_right_are_accepted(desk, change) -> None:
    assert change(desk).everything() == ()


def test_modelled_and_estimated_times_are_checked_like_measured_ones(desk) -> None:
    desk.pair("C", "S", rtt_ms=math.nan).policy(unknown_latency="estimate")
    estimate_ms = float(distance_km(51.5, -2, 50, -2)) * 1.5 * 0.01
    assert desk.found() == [("claim", "site C"), ("claim", "site C")]
    assert desk.row("C", rtt_ms=round(estimate_ms, 1), evidence="estimated").everything() == ()


def test_reasons_of_rules_are_believed_only_where_every_pool_breaks_one(desk) -> None:
    desk.without_row("C").host("S-01", clusters=0).of_plan(
        unserved=(Unserved("C", 3, (Reason("latency", "too far"),)),)
    )
    assert desk.found() == [("unserved", "site C")]
    assert desk.site("C", barred_hubs=("S",)).found() == []
