"""Bounds pass between scenarios only where that is sound: points that were not planned equal the plans of them."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.scenarios.order import next_wave, places, settled, with_shared_bounds
from planner.scenarios.sweep_results import Edit, Point, PointFigures, Scenario
from planner.scenarios.vary import axis_of, combined
from tests.how_many import tries

RTT = [[10.0, 40.0], [20.0, 40.0], [30.0, 40.0], [60.0, 20.0], [60.0, 30.0], [60.0, 60.0]]


def one(name, *edits):
    return Scenario(name, tuple(Edit(*edit) for edit in edits))


def looser(fleet, a, b):
    """Whether scenario a is looser than b."""
    at = places(fleet, [a, b])
    return at[a.name].looser_than(at[b.name])


@pytest.mark.parametrize(
    ("column", "tight", "loose"),
    [
        ("latency_budget_ms", "20", "30"),
        ("cluster_cap", "32", "64"),
        ("max_hosts_per_hub", "1", "2"),
        ("max_blast_radius", "8", "9"),
        ("max_blast_radius", "8", ""),
        ("max_blast_radius_hub", "8", "9"),
        ("max_blast_radius_hub", "8", ""),
        ("max_blast_radius_zone", "8", "9"),
        ("max_blast_radius_zone", "8", ""),
        ("max_share_percent", "10", "10.5"),
        ("max_share_percent", "10", ""),
        ("max_share_percent_hub", "10", "10.5"),
        ("max_share_percent_hub", "10", ""),
        ("max_share_percent_zone", "10", "10.5"),
        ("max_share_percent_zone", "10", ""),
        ("reserve_percent", "20", "10"),
        ("percentile", "99", "50"),
        ("third_location_km", "50", "0"),
        ("max_loss_percent", "1", "2"),
        ("release_floor", "8.10", "8.9"),
        ("release_floor", "8.1", ""),
        ("split_sites", "no", "yes"),
        ("unknown_latency", "ineligible", "estimate"),
        ("cover", "hub", "none"),
        ("cover", "host", "none"),
    ],
)
def test_settings_with_a_loose_side(make, column, tight, loose):
    fleet = make.fleet(RTT)
    a, b = one("a", ("Policy", column, loose)), one("b", ("Policy", column, tight))
    assert looser(fleet, a, b)
    assert not looser(fleet, b, a)


@pytest.mark.parametrize(
    ("a", "b"),
    [
        (("Policy", "cover", "host"), ("Policy", "cover", "hub")),
        (("Policy", "objective", "cost"), ("Policy", "objective", "hosts")),
        (("Policy", "release_floor", "8.2 SP1"), ("Policy", "release_floor", "8.1")),
        (("Sites", "clusters", "1"), ("Sites", "clusters", "2")),  # other sites need a host then
        (("Sites", "latency_budget_ms", "20", "S00"), ("Sites", "latency_budget_ms", "30", "S01")),
        (("Sites", "latency_budget_ms", "x2"), ("Sites", "latency_budget_ms", "20")),
        (("Hubs", "host_cost", "1"), ("Hubs", "host_cost", "2")),
    ],
)
def test_what_cannot_be_compared(make, a, b):
    fleet = make.fleet(RTT)
    first, second = one("a", a), one("b", b)
    assert not looser(fleet, first, second)
    assert not looser(fleet, second, first)


def test_the_fleet_as_it_is_has_a_place_on_every_axis(make):
    fleet = make.fleet(RTT, cluster_cap=8)
    base = Scenario("base")
    assert looser(fleet, one("a", ("Policy", "cluster_cap", "9")), base)
    assert looser(fleet, one("a", ("Sites", "latency_budget_ms", "x1.1")), base)
    assert looser(fleet, base, one("a", ("Sites", "latency_budget_ms", "-1")))
    assert looser(fleet, one("a", ("Policy", "cluster_cap", "8")), base)
    assert looser(fleet, base, one("a", ("Policy", "cluster_cap", "8")))


def figures(value, bound, unserved=0.0, *, proven=True):
    return PointFigures("hosts", value, bound, int(value), 0, 1, 1, (), unserved, proven, 1, None, "counting", "")


def test_a_scenario_between_two_is_settled_only_where_both_meet_and_serve_the_same(make):
    fleet = make.fleet(RTT)
    tight, middle, loose = (one(n, ("Policy", "cluster_cap", n)) for n in ("8", "9", "10"))
    at = places(fleet, [tight, middle, loose])

    def settle(a, b):
        return settled(middle, at, [Point(tight, a), Point(loose, b)])

    assert settle(figures(4, 4), figures(4, 4)).figures.value == 4
    assert settle(figures(4, 4), figures(4, 4)).rests_on == ("8", "10")
    assert settle(figures(4, 4), figures(3, 3)) is None
    assert settle(figures(4, 4, 1.0), figures(4, 4)) is None  # the looser one serves more
    assert settle(figures(4, 4, 1.0), figures(4, 4, 1.0, proven=False)) is None
    assert settled(middle, at, [Point(tight, figures(4, 4))]) is None
    # Where sites with a host today come first, the same weight of all sites is not enough.
    assert settle(replace(figures(4, 4), kept_weight=2.0), replace(figures(4, 4), kept_weight=3.0)) is None


def test_points_with_a_gap_take_better_bounds_and_plans_of_others(make):
    fleet = make.fleet(RTT)
    scenarios = [one(n, ("Policy", "cluster_cap", n)) for n in ("8", "9", "10")]
    at = places(fleet, scenarios)
    points = [Point(s, figures(*f)) for s, f in zip(scenarios, [(6, 6), (9, 3), (5, 5)], strict=True)]
    _, middle, _ = with_shared_bounds(points, at)
    assert (middle.figures.value, middle.figures.bound, middle.rests_on) == (6, 5, ("8", "10"))
    points[2] = Point(scenarios[2], figures(5, 5, 2.0))  # it leaves something else unserved
    _, middle, _ = with_shared_bounds(points, at)
    assert (middle.figures.value, middle.figures.bound, middle.rests_on) == (6, 3, ("8",))


def test_ends_of_a_chain_come_first_then_middles(make):
    fleet = make.fleet(RTT)
    scenarios = [one(str(n), ("Policy", "cluster_cap", str(n))) for n in range(10, 21)]
    at = places(fleet, scenarios)
    waves, done = [], []
    while pending := [s for s in scenarios if s.name not in done]:
        waves.append([s.name for s in next_wave(pending, done, at)])
        done += waves[-1]
    assert waves[:2] == [["10", "20"], ["15"]]
    assert sorted(done) == sorted(s.name for s in scenarios)


@st.composite
def fleets(draw):
    count, width = draw(st.integers(2, 8)), draw(st.integers(1, 3))

    def each(n, strategy):
        return draw(st.lists(strategy, min_size=n, max_size=n))

    rtt = np.array(each(count * width, st.sampled_from([10.0, 20.0, 30.0, 40.0, 70.0]))).reshape(count, width)
    return {
        "rtt": rtt,
        "sites": {"clusters": each(count, st.integers(0, 3)), "weight": each(count, st.sampled_from([1.0, 2.0]))},
        "pools": {
            "max_hosts": each(width, st.integers(1, 3)),
            "host_cost": each(width, st.integers(1, 5)),
            "existing_hosts": each(width, st.integers(0, 1)),
        },
        "objective": draw(st.sampled_from(["hosts", "new_hosts", "cost"])),
    }


@settings(max_examples=tries(3), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(fleets())
def test_points_that_are_not_planned_equal_their_plans(make, case):
    fleet = make.fleet(
        case["rtt"], sites=case["sites"], pools=case["pools"], objective=case["objective"], cluster_cap=3
    )
    options = ("latency_budget_ms=10:40:10", "cluster_cap=2,3,5")
    short = make.swept(fleet, *options)
    full = make.swept(fleet, *options, solve_all=True)
    assert short.keys() == full.keys()
    for name, point in full.items():
        figures, plain = short[name].figures, point.figures
        assert (figures.value, figures.bound) == pytest.approx((plain.value, plain.bound))
        assert figures.unserved_weight == pytest.approx(plain.unserved_weight)
        assert point.origin == "solved"


def test_a_chain_of_equals_is_planned_at_its_ends_only(make):
    fleet = make.fleet([[10.0]] * 6, cluster_cap=2)
    points = make.swept(fleet, "latency_budget_ms=20:60:5")
    planned = {name for name, point in points.items() if point.origin == "solved"}
    assert planned == {"latency_budget_ms=20", "latency_budget_ms=60"} | ({"as it is"} & planned)
    assert {point.figures.hosts for point in points.values()} == {3}


def test_every_combination_of_two_axes_agrees_with_planning_them_all(make, twelve_sites):
    options = ("latency_budget_ms=14:30:2", "reserve_percent=0,20,40")
    short, full = (make.swept(twelve_sites, *options, solve_all=every) for every in (False, True))
    assert {n: p.figures.hosts for n, p in short.items()} == {n: p.figures.hosts for n, p in full.items()}
    assert sum(p.origin == "bounds" for p in short.values()) > 0
    assert len(combined([axis_of(o) for o in options], [])) == len(full)
