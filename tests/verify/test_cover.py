"""Standbys, and the losses that the policy wants covered."""

from dataclasses import replace

import pytest

from planner.plan import Reason, Uncovered


def covered(desk):
    """Three hosts, every site with a standby at the other hub; each host can take over what comes to it."""
    hosts = (*desk.plan.host_list, replace(desk.plan.host_list[1], host="S-02", clusters=0))
    desk.of_plan(host_list=hosts, objective_value=3, lower_bound=3).policy(cover="hub", third_location_km=0)
    desk.pool("N", serves_regions=())
    return desk.row("A", standby="S-01").row("B", standby="S-02").row("C", standby="N-01")


def grown(desk, clusters: int):
    """C with more clusters, and a cap that holds them at home."""
    desk.site("C", clusters=clusters).row("C", clusters=clusters).policy(reserve_percent=0).host(
        "S-01", clusters=clusters
    )
    for name in ("N-01", "S-01", "S-02"):
        desk.host(name, usable=10)
    return desk


def test_a_covered_plan_holds(desk) -> None:
    assert covered(desk).everything() == ()


@pytest.mark.parametrize(
    ("change", "code", "figures"),
    [
        (
            lambda d: d.row("A", standby=None),
            "standby",
            "has no standby and is not listed as without one, although cover in Policy is hub",
        ),
        (lambda d: d.row("C", standby="S-01"), "standby", "its standby is its own host, S-01"),
        (
            lambda d: d.row("C", standby="S-02"),
            "standby",
            "when hub S is lost, its host S-01 and its standby S-02 fail together",
        ),
        (lambda d: d.row("A", standby="S-09"), "unknown_host", "standby S-09 is not in the plan"),
        (
            lambda d: d.site("C", barred_hubs=("N",)),
            "barred_hub",
            "its standby N-01 cannot serve it: it must not go to hub N (barred_hubs)",
        ),
        (
            lambda d: d.pair("A", "S", rtt_ms=40.5),
            "latency",
            "its standby S-01 cannot serve it: its RTT to hub S is 40.5 ms; its budget is 40 ms",
        ),
    ],
)
def test_a_standby_that_is_none_is_found(desk, change, code, figures) -> None:
    violations = change(covered(desk)).everything()
    assert [v.code for v in violations] == [code]
    assert figures in violations[0].message


def test_a_standby_is_held_to_the_latency_budget_of_a_loss_and_a_home_is_not(desk) -> None:
    covered(desk).policy(loss_latency_budget_ms=40.2).pair("A", "S", rtt_ms=40.5)
    assert [v.message for v in desk.everything()] == [
        "its standby S-01 cannot serve it: its RTT to hub S is 40.5 ms; its budget is 40 ms, and 40.2 ms while a loss "
        "lasts"
    ]
    desk.policy(loss_latency_budget_ms=40.5)
    assert desk.everything() == ()
    desk.row("A", host="S-01", hub="S", standby="N-01")
    assert ("latency", "site A") in desk.found()


def test_limits_of_the_ordinary_day_keep_no_standby_away(desk) -> None:
    """A sends 400 kb/s: home at N, standby at S, whose uplink carries C and no more."""
    covered(desk).site("A", tie_breaker_kbps=400).site("C", tie_breaker_kbps=50).pool("S", uplink_mbps=0.3)
    assert desk.everything() == ()
    desk.row("A", host="S-01", hub="S", standby="N-01")
    assert ("uplink", "site A") in desk.found()


def test_a_site_whose_other_hub_has_too_thin_an_uplink_for_a_home_has_a_place_for_a_standby(desk) -> None:
    reasons = (Reason("cover_place", "the loss of one hub takes down all that it can use: N"),)
    covered(desk).site("A", tie_breaker_kbps=400).pool("S", uplink_mbps=0.3)
    desk.row("A", standby=None).of_plan(uncovered=(Uncovered("A", reasons),))
    assert [v.message for v in desk.everything()] == [
        "the plan says no second place can take the site; pools N and S both can"
    ]


def test_a_standby_at_the_same_hub_is_enough_against_the_loss_of_a_host(desk) -> None:
    covered(desk).policy(cover="host").row("C", standby="S-02")
    assert desk.everything() == ()


def test_a_standby_is_checked_even_where_no_cover_is_asked_for(desk) -> None:
    covered(desk).policy(cover="none").row("A", standby=None).row("C", standby="S-01")
    assert desk.found() == [("standby", "site C")]


@pytest.mark.parametrize(("clusters", "found"), [(7, 0), (8, 1)])
def test_a_standby_may_be_filled_to_its_cap_and_not_beyond(desk, clusters, found) -> None:
    """N-01 carries 3 clusters of its own and has a cap of 10."""
    grown(covered(desk), clusters)
    assert [(v.code, v.where, v.severity) for v in desk.everything()] == [("cover", "host N-01", "violation")] * found
    assert all(
        "when hub S is lost, it goes from 3 to 11 clusters; its cap is 10" in v.message for v in desk.everything()
    )


def test_the_loss_of_a_hub_sends_the_clusters_of_all_its_hosts(desk) -> None:
    """S-01 sends 3 and S-02 sends 5 clusters to N-01, which carries 3: each alone fits, both together do not."""
    covered(desk).policy(reserve_percent=0)
    spare = replace(desk.plan.assignments[2], host="S-02", clusters=5)
    desk.site("C", clusters=8).policy(split_sites=True)
    desk.of_plan(assignments=(*desk.plan.assignments, spare)).host("S-02", clusters=5)
    for name in ("N-01", "S-01", "S-02"):
        desk.host(name, usable=10)
    assert desk.found() == [("cover", "host N-01")]
    assert desk.policy(cover="host").found() == []


def test_eating_into_the_reserve_while_a_host_is_lost_is_a_note(desk) -> None:
    grown(covered(desk), 7).policy(reserve_percent=10)
    for name in ("N-01", "S-01", "S-02"):
        desk.host(name, usable=9)
    (note,) = desk.everything()
    assert (note.code, note.where, note.severity) == ("cover", "host N-01", "note")
    assert "when hub S is lost, it goes from 3 to 10 clusters; its cap is 10, and 9 without the reserve" in note.message


def test_without_cover_a_standby_need_not_have_room(desk) -> None:
    grown(covered(desk), 8).policy(cover="none")
    assert desk.everything() == ()
