"""Every site is in the plan once, whole, and rightly where it stands."""

from dataclasses import replace

import pytest

from planner.plan import NoHostNeeded, Reason, Unserved

LATENCY = (Reason("latency", "too far"),)


def unserved(desk, site: str, clusters: int = 1, reasons: tuple[Reason, ...] = LATENCY):
    return desk.of_plan(unserved=(*desk.plan.unserved, Unserved(site, clusters, reasons)))


def needing_none(desk, site: str, why="own_tie_breaker"):
    return desk.of_plan(no_host_needed=(*desk.plan.no_host_needed, NoHostNeeded(site, why)))


def idle(desk):
    """Take C off its host, which then carries nothing."""
    return desk.without_row("C").host("S-01", clusters=0)


def split(desk, site: str, *parts: tuple[str, int]):
    """Assign the site in parts of (host, clusters)."""
    row = next(row for row in desk.plan.assignments if row.site == site)
    others = [other for other in desk.plan.assignments if other.site != site]
    rows = [replace(row, host=host, clusters=clusters) for host, clusters in parts]
    return desk.of_plan(assignments=(*others, *rows))


@pytest.mark.parametrize(
    ("change", "expected", "figures"),
    [
        (lambda d: idle(d), ("missing_site", "site C"), "has 3 clusters, but is not in the plan"),
        (
            lambda d: d.of_plan(no_host_needed=d.plan.no_host_needed[:2]),
            ("missing_site", "site F"),
            "neither assigned nor unserved",
        ),
        (lambda d: needing_none(d, "Z"), ("unknown_site", "site Z"), "no such site"),
        (lambda d: unserved(d, "Z"), ("unknown_site", "site Z"), "no such site"),
        (lambda d: d.row("C", site="Z"), ("unknown_site", "site Z"), "no such site"),
        (
            lambda d: unserved(d, "A", reasons=(Reason("capacity", ""),)),
            ("listed_twice", "site A"),
            "in more than one list, or twice in one: assigned, unserved",
        ),
        (lambda d: needing_none(d, "F"), ("listed_twice", "site F"), "needing no shared host (2)"),
        (lambda d: needing_none(d, "A"), ("listed_twice", "site A"), "assigned, needing no shared host"),
        (
            lambda d: unserved(unserved(idle(d).site("C", nodes=3), "C", 3), "C", 3),
            ("listed_twice", "site C"),
            "unserved (2)",
        ),
        (
            lambda d: split(d, "C", ("S-01", 1), ("S-01", 2)),
            ("listed_twice", "site C"),
            "but split_sites in Policy is no",
        ),
        (
            lambda d: d.site("C", clusters=4),
            ("clusters", "site C"),
            "the plan assigns 3 clusters; the site has 4",
        ),
        (
            lambda d: d.site("A", own_tie_breaker="yes"),
            ("host_not_needed", "site A"),
            "it has its own tie-breaker and needs no host",
        ),
        (
            lambda d: unserved(d.own("E", site="Z"), "E", 0),
            ("host_not_needed", "site E"),
            "but it has no clusters and needs no host",
        ),
        (lambda d: d.own("F", why="no_clusters"), ("host_needed", "site F"), "no clusters; it has 1"),
        (lambda d: d.site("D", own_tie_breaker="no"), ("host_needed", "site D"), "column own_tie_breaker says 'no'"),
        (
            lambda d: d.own("D", why="because"),
            ("host_needed", "site D"),
            "because of 'because'; that is no known reason",
        ),
        (
            lambda d: unserved(idle(d).site("C", nodes=3), "C", 2),
            ("claim", "site C"),
            "lists 2 clusters as unserved; the site has 3",
        ),
        (
            lambda d: unserved(idle(d), "C", 3, ()),
            ("unserved", "site C"),
            "gives no reason",
        ),
        (
            lambda d: unserved(idle(d), "C", 3),
            ("unserved", "site C"),
            "rule latency keeps it from every pool; pool S breaks no rule",
        ),
    ],
)
def test_a_site_in_the_wrong_place_is_found(desk, change, expected, figures) -> None:
    change(desk)
    assert expected in desk.found()
    assert any((v.code, v.where) == expected and figures in v.message for v in desk.everything())


@pytest.mark.parametrize("clusters", [0, -3, 1.5, None, float("nan"), "three"])
def test_a_number_of_clusters_that_cannot_be_is_found(desk, clusters) -> None:
    assert desk.row("C", clusters=clusters).found().count(("clusters", "site C")) == 2


def test_a_site_may_be_split_where_the_policy_says_so(desk) -> None:
    hosts = (*desk.plan.host_list, replace(desk.plan.host_list[1], host="S-02", clusters=1))
    desk.of_plan(host_list=hosts, objective_value=3, lower_bound=3).host("S-01", clusters=2)
    split(desk, "C", ("S-01", 2), ("S-02", 1))
    assert desk.found() == [("listed_twice", "site C")]
    assert desk.policy(split_sites=True).everything() == ()
    assert split(desk, "C", ("S-01", 2), ("S-02", 2)).host("S-02", clusters=2).found() == [("clusters", "site C")]


@pytest.mark.parametrize(
    "change",
    [
        lambda d: unserved(idle(d), "C", 3, (Reason("capacity", "full"),)),
        lambda d: unserved(idle(d).site("C", nodes=1), "C", 3, (Reason("nodes", ""),)),
        lambda d: unserved(idle(d).pool("S", max_hosts=0, existing_hosts=0), "C", 3).of_plan(
            host_list=d.plan.host_list[:1], objective_value=1, lower_bound=1
        ),
        lambda d: unserved(idle(d).site("C", clusters=10), "C", 10),
        lambda d: d.of_plan(no_host_needed=d.plan.no_host_needed[2:]),  # D and E need no word
    ],
)
def test_what_is_rightly_left_out_is_accepted(desk, change) -> None:
    assert change(desk).found() == []


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d.site("C", clusters=9),  # what the reserve leaves of a cap of 10
        lambda d: d.pool("S", max_hosts=1),
        lambda d: d.site("C", clusters=10).policy(split_sites=True),
    ],
)
def test_a_pool_with_just_enough_room_makes_reasons_of_rules_untrue(desk, change) -> None:
    change(idle(desk))
    assert ("unserved", "site C") in unserved(desk, "C", int(desk.fleet.clusters[2])).found()
