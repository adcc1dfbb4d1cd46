"""The horizon: equal to trying every way to buy on small cases, and never below what a period needs alone."""

import datetime as dt
import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner import columns
from planner.errors import InputError
from planner.fleet import typed_table
from planner.scenarios.horizon.calendar import fleet_in, periods_from
from planner.scenarios.horizon.plan_horizon import horizon
from planner.sizing import plan
from tests.arrays import fewest_bins

FIRST = dt.date(2027, 1, 1)


def changes(*rows):
    """The sheet Changes: (date, site, pool, column, value)."""
    return typed_table(
        columns.CHANGES, dict(zip(columns.CHANGES.names, map(list, zip(*rows, strict=True)), strict=True))
    )


def running(found):
    return [step.standing for step in found.steps]


def test_periods_follow_each_other_without_a_gap():
    quarters = periods_from(FIRST, "quarter", 5)
    assert [p.name for p in quarters] == ["2027 Q1", "2027 Q2", "2027 Q3", "2027 Q4", "2028 Q1"]
    assert all(a.last + dt.timedelta(days=1) == b.first for a, b in itertools.pairwise(quarters))
    assert [p.name for p in periods_from(dt.date(2027, 4, 1), "year", 2)] == ["from 2027-04-01", "from 2028-04-01"]


def test_sites_open_and_close_hubs_too_and_changes_come_on_their_day(make):
    fleet = make.fleet(
        [[10.0, 10.0]] * 3,
        sites={"opens": [None, "2028-06-01", None], "closes": [None, None, "2028-03-01"]},
        pools={"opens": [None, "2028-06-01"]},
    ).replace(
        changes=changes(
            ("2028-02-01", "S00", "", "clusters", "3"),
            ("2029-01-01", "", "", "cluster_cap", "7"),
            ("2029-01-01", "", "H0", "host_release", "8.10"),
        )
    )
    spans = periods_from(FIRST, "year", 3)
    years = [fleet_in(fleet, span.first, span.last) for span in spans]
    assert [year.site_ids for year in years] == [("S00", "S02"), ("S00", "S01", "S02"), ("S00", "S01")]
    assert [year.clusters[0] for year in years] == [1, 3, 3]
    # A hub that opens within a period cannot carry what is there on its first day.
    assert [year.max_hosts.tolist() for year in years] == [[10, 0], [10, 0], [10, 10]]
    assert [year.policy.cluster_cap for year in years] == [64, 64, 7]
    assert years[2].host_releases == ("8.10", "")


def test_a_host_is_bought_when_the_load_passes_the_capacity_and_the_day_is_told(make):
    opens = [None, None, "2027-05-03", "2028-02-01", "2028-07-15"]
    fleet = make.fleet([[10.0]] * 5, sites={"opens": opens}, pools={"existing_hosts": [1]}, cluster_cap=3)
    found = horizon(fleet, FIRST, periods=3)
    assert running(found) == [1, 2, 2]
    assert (found.bought, found.bought_bound, found.proven) == (1, 1, True)
    assert found.next_host.day == dt.date(2028, 2, 1)
    assert found.next_host.period == "2028"
    assert "4 clusters" in found.next_host.words
    assert found.next_host.delays[0].endswith(" fewer than planned, the next host could wait.")


def test_orders_come_their_lead_time_before_the_host(make):
    opens = [None, None, "2027-05-03", "2028-02-01", "2028-07-15"]
    fleet = make.fleet([[10.0]] * 5, sites={"opens": opens}, pools={"existing_hosts": [1]}, cluster_cap=3)
    fleet = fleet.replace(policy=fleet.policy.replace(lead_time_days=31))
    found = horizon(fleet, FIRST, periods=3)
    assert [step.order_by for step in found.steps] == [(), (("H0", dt.date(2027, 12, 1)),), ()]
    assert found.next_host.order_by == dt.date(2028, 1, 1)
    assert not any(note.code == "horizon_order" for note in found.notes)
    slow = fleet.replace(pools=fleet.pools.assign(lead_time_days=[400.0]))
    (late,) = [note for note in horizon(slow, FIRST, periods=3).notes if note.code == "horizon_order"]
    assert "H0 by 2026-11-27 for the period 2028" in late.message


def test_what_would_put_the_host_off_names_the_nearest_pool_with_room(make):
    fleet = make.fleet(
        [[10.0, 52.5], [10.0, 60.0], [60.0, 10.0]],
        sites={"opens": [None, "2027-03-01", None]},
        pools={"existing_hosts": [1, 1]},
        cluster_cap=1,
    ).replace()
    wide = fleet.replace(policy=fleet.policy.replace(cluster_cap=2))
    assert horizon(wide, FIRST, periods=1).next_host is None
    caps = fleet.replace(pools=fleet.pools.assign(cluster_cap=[1.0, 2.0]))
    found = horizon(caps, FIRST, periods=1)
    assert found.next_host.day == dt.date(2027, 3, 1)
    assert "Pool H1 has room, but site S00 is 2.5 ms above its latency budget there." in found.next_host.delays


def test_hosts_stay_when_sites_leave_unless_they_may_move(make):
    # Two hubs that share no site: one empties when the other fills.
    rtt = [[10.0, 90.0]] * 2 + [[90.0, 10.0]] * 2
    sites = {"opens": [None, None, "2028-01-01", "2028-01-01"], "closes": ["2027-12-31"] * 2 + [None] * 2}
    fleet = make.fleet(rtt, sites=sites, cluster_cap=2)
    incumbent = horizon(fleet, FIRST, periods=2)
    assert (running(incumbent), incumbent.bought) == ([1, 2], 2)
    moves = horizon(fleet, FIRST, periods=2, move_hosts=True)
    assert (running(moves), moves.bought) == ([1, 1], 1)
    assert moves.steps[1].moved_in == (("H1", 1),)
    assert moves.steps[1].retired == (("H0", 1),)


def test_hosts_do_not_move_between_pools_of_different_caps(make):
    rtt = [[10.0, 90.0]] * 2 + [[90.0, 10.0]] * 2
    sites = {"opens": [None, None, "2028-01-01", "2028-01-01"], "closes": ["2027-12-31"] * 2 + [None] * 2}
    fleet = make.fleet(rtt, sites=sites, pools={"cluster_cap": [2, 3]})
    assert horizon(fleet, FIRST, periods=2, move_hosts=True).bought == 2


def test_nobody_moves_who_can_stay(make):
    # H1 is nearer for everybody, but those whom H0 serves stay there until their release forces them out.
    fleet = make.fleet(
        [[20.0, 10.0]] * 4,
        sites={"release": ["8.2"] * 4},
        pools={"host_release": ["8.2", "9.0"], "existing_hosts": [1, 1]},
        current={"site": ["S00", "S01", "S02"], "hub": ["H0"] * 3, "host": ["H0-01"] * 3},
        cluster_cap=4,
    ).replace(changes=changes(("2028-05-01", "S01", "", "release", "9.0")))
    found = horizon(fleet, FIRST, periods=3)
    assert [step.moves for step in found.steps] == [(), (("S01", "H0-01", "H1-01"),), ()]
    assert [step.forced for step in found.steps] == [0, 1, 0]


def test_a_move_is_a_change_of_host_also_within_a_pool_and_in_the_first_period(make):
    """Changes of pool alone were told, and none of sites whose host may not carry them today."""
    fleet = make.fleet(
        [[10.0, 10.0]] * 5 + [[90.0, 10.0], [10.0, 10.0]],
        sites={"own_tie_breaker": ["no"] * 6 + ["yes"]},
        pools={"existing_hosts": [2, 1]},
        current={
            "site": [f"S0{n}" for n in range(7)],
            "hub": ["H0"] * 7,
            "host": ["H0-01"] * 5 + ["H0-02", "H0-02"],
        },
        cluster_cap=4,
    )
    found = horizon(fleet, FIRST, periods=2)
    one, forced, gone = found.steps[0].moves
    assert one[1:] == ("H0-01", "H0-02")
    assert (forced, gone) == (("S05", "H0-02", "H1-01"), ("S06", "H0-02", ""))
    assert found.steps[0].forced == 2
    assert found.steps[1].moves == ()


def test_a_hub_that_closes_is_left_in_time(make):
    fleet = make.fleet(
        [[10.0, 20.0]] * 3,
        pools={"existing_hosts": [1, 0], "closes": ["2028-06-30", None]},
        current={"site": ["S00", "S01", "S02"], "hub": ["H0"] * 3, "host": ["H0-01"] * 3},
    )
    found = horizon(fleet, FIRST, periods=2)
    assert [step.hosts for step in found.steps] == [(("H0", 1),), (("H1", 1),)]
    assert found.steps[1].retired == (("H0", 1),)
    assert (len(found.steps[1].moves), found.steps[1].forced) == (3, 3)


def test_money_is_discounted_and_buying_late_is_cheaper(make):
    prices = typed_table(columns.PRICES, {"item": ["host"], "buy": [1000.0], "yearly": [100.0]})
    fleet = make.fleet(
        [[10.0]] * 4, sites={"opens": [None, None, None, "2029-01-01"]}, cluster_cap=3, discount_percent=10.0
    ).replace(prices=prices)
    found = horizon(fleet, FIRST, periods=3)
    assert running(found) == [1, 1, 2]
    assert [step.cost for step in found.steps] == [1100.0, 100.0, 1200.0]
    assert found.worth == pytest.approx(1100 + 100 / 1.1 + 1200 / 1.21)
    assert found.worth_bound == pytest.approx(found.worth)


def test_under_cost_two_cheap_hosts_may_beat_one_dear(make):
    fleet = make.fleet([[10.0, 10.0]] * 4, pools={"host_cost": [100.0, 30.0], "cluster_cap": [4, 2]}, objective="cost")
    found = horizon(fleet, FIRST, periods=1)
    assert (found.bought, found.worth) == (2, 60.0)
    assert found.proven
    fewest = horizon(fleet.replace(policy=fleet.policy.replace(objective="hosts")), FIRST, periods=1)
    assert (fewest.bought, fewest.worth) == (1, 100.0)


def test_kept_together_sites_are_packed_in_every_period(make):
    # 3 + 3 + 2 + 2 clusters fill two hosts of 5; 3 + 3 + 3 need three although two would hold nine of ten.
    fleet = make.fleet(
        [[10.0]] * 4, sites={"clusters": [3, 3, 2, 2]}, pools={"existing_hosts": [2]}, cluster_cap=5
    ).replace(changes=changes(("2028-01-01", "S02", "", "clusters", "3"), ("2028-01-01", "S03", "", "clusters", "1")))
    found = horizon(fleet, FIRST, periods=2)
    assert running(found) == [2, 3]
    assert [step.least for step in found.steps] == [2, 3]


def test_sites_that_nobody_can_serve_are_told_and_the_rest_is_planned(make):
    fleet = make.fleet([[10.0], [90.0], [10.0]], pools={"max_hosts": [1]}, cluster_cap=1)
    (step,) = horizon(fleet, FIRST, periods=1).steps
    assert (step.sites, step.standing) == (1, 1)
    assert "S01" in step.unserved
    assert len(step.unserved) == 2


def test_what_is_not_modelled_is_refused(make):
    with pytest.raises(InputError, match="cover"):
        horizon(make.fleet([[10.0, 10.0]], cover="hub"), FIRST)
    busy = make.fleet([[10.0]] * 2, sites={"tie_breaker_kbps": [900] * 2}, pools={"uplink_mbps": [1]})
    with pytest.raises(InputError, match="uplink"):
        horizon(busy, FIRST)
    with pytest.raises(InputError, match="max_blast_radius_hub at hub H0"):
        horizon(make.fleet([[10.0, 10.0]] * 3, max_blast_radius_hub=2), FIRST)
    shared = {"hub": ["A", "A"], "pool": ["A1", "A2"], "rack_units": [3, None]}
    with pytest.raises(InputError, match="rack_units at hub A"):
        horizon(make.fleet([[10.0]] * 3, hubs=["A"], pools=shared), FIRST)
    with pytest.raises(InputError, match="price"):
        horizon(make.fleet([[10.0]], objective="cost"), FIRST)


def feasible(case, t, hosts):
    """Whether the hosts carry all sites that are open in period t, by trying every way to send them to pools."""
    there = [s for s in range(len(case["clusters"])) if case["first"][s] <= t <= case["last"][s]]
    clusters = {s: case["clusters"][s] + (case["more"][s] if t >= case["grows"][s] else 0) for s in there}
    eligible = [[p for p in range(len(hosts)) if case["rtt"][s, p] <= 50] for s in there]
    for choice in itertools.product(*eligible):
        if all(
            fewest_bins(
                tuple(sorted(clusters[s] for s, at in zip(there, choice, strict=True) if at == p)), case["cap"][p]
            )
            <= hosts[p]
            for p in range(len(hosts))
        ):
            return True
    return False


def brute_force(case):
    """Return (fewest hosts bought, least worth of these, least worth of all); None where some period is not served."""
    pools = range(len(case["cap"]))
    options = [
        [h for h in itertools.product(*(range(case["most"][p] + 1) for p in pools)) if feasible(case, t, h)]
        for t in range(case["periods"])
    ]
    found = []
    for path in itertools.product(*options):
        before, bought, worth, grows = case["existing"], 0, 0.0, True
        for t, hosts in enumerate(path):
            grows = grows and all(n >= b for n, b in zip(hosts, before, strict=True))
            new = [max(0, n - b) for n, b in zip(hosts, before, strict=True)]
            bought += sum(new)
            running = sum(n * price for n, price in zip(hosts, case["price"], strict=True))
            worth += (sum(new) * case["buy"] + running) / 1.1**t
            before = hosts
        if grows:
            found.append((bought, round(worth, 6)))
    return (*min(found), min(worth for _, worth in found)) if found else None


@st.composite
def cases(draw):
    count, width, periods = draw(st.integers(1, 4)), draw(st.integers(1, 2)), draw(st.integers(1, 3))

    def each(n, strategy):
        return draw(st.lists(strategy, min_size=n, max_size=n))

    most = each(width, st.integers(1, 3))
    first = each(count, st.integers(0, periods - 1))
    return {
        "periods": periods,
        "rtt": np.array(each(count * width, st.sampled_from([10.0, 51.0]))).reshape(count, width),
        "clusters": each(count, st.integers(1, 3)),
        "more": each(count, st.integers(0, 1)),
        "grows": each(count, st.integers(0, 2)),
        "first": first,
        "last": [draw(st.integers(f, periods - 1)) for f in first],
        "cap": each(width, st.integers(4, 6)),
        "most": most,
        "existing": [draw(st.integers(0, m)) for m in most],
        "price": each(width, st.integers(1, 9)),
        "buy": draw(st.integers(0, 20)),
    }


def as_fleet(make, case, objective):
    years = [f"{2027 + t}-01-01" for t in range(4)]
    fleet = make.fleet(
        case["rtt"],
        sites={
            "clusters": case["clusters"],
            "opens": [years[t] for t in case["first"]],
            "closes": [f"{2027 + t}-12-31" for t in case["last"]],
        },
        pools={
            "cluster_cap": case["cap"],
            "max_hosts": case["most"],
            "existing_hosts": case["existing"],
            "host_cost": case["price"],
        },
        objective=objective,
        discount_percent=10.0,
    )
    rows = [
        (years[t], f"S{s:02d}", "", "clusters", str(k + more))
        for s, (k, more, t) in enumerate(zip(case["clusters"], case["more"], case["grows"], strict=True))
    ]
    prices = typed_table(columns.PRICES, {"item": ["host"], "buy": [case["buy"]], "yearly": [77.0]})  # host_cost counts
    return fleet.replace(changes=changes(*rows), prices=prices)


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(cases())
def test_the_horizon_is_the_best_of_all_ways_to_buy(make, case):
    best = brute_force(case)
    fleet = as_fleet(make, case, "hosts")
    found = horizon(fleet, FIRST, periods=case["periods"])
    if best is None:
        assert any(step.unserved for step in found.steps)
        return
    assert not any(step.unserved for step in found.steps)
    assert (found.bought, found.bought_bound) == (best[0], best[0])
    assert (found.worth, found.worth_bound) == pytest.approx((best[1], best[1]), abs=1e-4)
    for step, span in zip(found.steps, periods_from(FIRST, "year", case["periods"]), strict=True):
        alone = plan(fleet_in(fleet, span.first, span.last))
        assert step.standing >= alone.lower_bound
        assert step.least == alone.lower_bound
    cheapest = horizon(as_fleet(make, case, "cost"), FIRST, periods=case["periods"])
    assert (cheapest.worth, cheapest.worth_bound) == pytest.approx((best[2], best[2]), abs=1e-4)


def test_a_larger_fleet_never_needs_fewer_hosts_than_a_period_alone():
    import planner
    from sample_fleets.make_fleet import generate

    frames = generate(150, 8, seed=5)
    rng = np.random.default_rng(5)
    days = pd.Timestamp(FIRST) + pd.to_timedelta(rng.integers(-200, 1200, 150), unit="D")
    frames["Sites"] = frames["Sites"].assign(opens=days)
    fleet = planner.fleet_from_tables(frames)
    empty = fleet.replace(pools=fleet.pools.assign(existing_hosts=0.0))
    found = horizon(empty, FIRST, period="quarter", periods=6)
    assert found.proven
    assert all(a <= b for a, b in itertools.pairwise(running(found)))
    for step in found.steps:
        alone = planner.plan(fleet_in(empty, step.period.first, step.period.last))
        assert step.standing >= alone.lower_bound
        assert sorted(step.unserved) == sorted(u.site for u in alone.unserved)


def test_without_time_every_period_is_served_all_the_same_with_a_bound(make):
    fleet = make.fleet(
        [[10.0, 20.0]] * 6,
        sites={"clusters": [3, 2, 2, 1, 1, 3], "opens": [None, None, None, "2028-01-01", "2028-01-01", "2029-01-01"]},
        current={"site": ["S00", "S01"], "hub": ["H1", "H1"], "host": ["a", "b"]},
        cluster_cap=4,
    )
    hurried = horizon(fleet, FIRST, periods=3, time_limit=0.0)
    exact = horizon(fleet, FIRST, periods=3)
    assert not any(step.unserved for step in hurried.steps)
    assert hurried.bought_bound <= exact.bought <= hurried.bought
    assert all(step.standing >= step.least for step in hurried.steps)


def test_only_hosts_that_stood_somewhere_can_move(make):
    # Buying at the cheap hub and moving at once to the dear one is no way round its price.
    fleet = make.fleet([[90.0, 10.0]], pools={"host_cost": [1.0, 100.0]}, cluster_cap=2)
    assert horizon(fleet, FIRST, periods=1, move_hosts=True).worth == 100.0
