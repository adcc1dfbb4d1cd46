"""Among plans with as few hosts: moves, latency, margin and spread in the order that the policy names."""

import itertools

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from planner.errors import InputError
from planner.plan import moved_sites
from planner.sizing import plan
from tests.how_many import tries


def all_plans(rtt, cap):
    """Yield (hosts, pool of each site) for every way to serve all sites within 50 ms."""
    eligible = [[p for p in range(rtt.shape[1]) if row[p] <= 50] for row in rtt]
    for choice in itertools.product(*eligible):
        yield sum(-(-choice.count(p) // cap) for p in set(choice)), choice


@st.composite
def cases(draw):
    count, width = draw(st.integers(2, 6)), draw(st.integers(2, 4))
    rtt = draw(st.lists(st.integers(1, 70), min_size=count * width, max_size=count * width))
    today = draw(st.lists(st.integers(-1, width - 1), min_size=count, max_size=count))
    matrix = np.array(rtt, dtype=float).reshape(count, width)
    served = (matrix <= 50).any(axis=1)
    assume(served.any())
    return matrix[served], list(itertools.compress(today, served)), draw(st.integers(1, 4))


def fleet_today(make, rtt, today, cap):
    kept = [(f"S{s:02d}", f"H{p}") for s, p in enumerate(today) if p >= 0]
    current = {"site": [s for s, _ in kept], "hub": [h for _, h in kept], "host": [""] * len(kept)}
    return make.fleet(rtt, cluster_cap=cap, current=current)


def best_figures(rtt, today, cap):
    """Return (hosts, moves, total RTT) of the best plan in that order, by brute force."""

    def figures(hosts, choice):
        moved = sum(p != t for p, t in zip(choice, today, strict=True) if t >= 0)
        return hosts, moved, sum(rtt[s, p] for s, p in enumerate(choice))

    return min(figures(hosts, choice) for hosts, choice in all_plans(rtt, cap))


@settings(max_examples=tries(8), deadline=None)
@given(case=cases())
def test_moves_then_latency_are_least_where_called_proven_and_never_below_the_bound(make, case):
    rtt, today, cap = case
    fleet = fleet_today(make, rtt, today, cap)
    result = plan(fleet)
    make.sound(fleet, result)
    hosts, moved, total = best_figures(rtt, today, cap)
    assert result.hosts == hosts
    if len(result.then) == 2:
        moves, latency = result.then
        assert moves.bound <= moved + 1e-6
        assert (moves.value, latency.value) >= (moved - 1e-6, total - 1e-3 if moves.value == moved else 0)
        if moves.proven:
            assert moves.value == moved
    else:
        (latency,) = result.then
        assert latency.bound <= total + 1e-3 <= latency.value + 2e-3


@settings(max_examples=tries(6), deadline=None)
@given(case=cases())
def test_thorough_proves_both_aims_of_a_small_fleet(make, case):
    rtt, today, cap = case
    result = plan(fleet_today(make, rtt, today, cap), thorough=True)
    hosts, *wanted = best_figures(rtt, today, cap)
    assert result.hosts == hosts
    assert all(aim.proven for aim in result.then)
    assert [aim.value for aim in result.then] == pytest.approx(wanted[-len(result.then) :], abs=1e-3)


def plans_by_host(rtt, cap, hosts, existing, today):
    """Yield (moves, total RTT) of every plan on ``hosts`` hosts, each pool with ``existing`` of them and one to add."""
    places = [(p, h) for p in range(rtt.shape[1]) for h in range(existing + 1)]
    for running in itertools.combinations(places, hosts):
        for choice in itertools.product(*([x for x in running if row[x[0]] <= 50] for row in rtt)):
            if all(choice.count(place) <= cap for place in running):
                moved = sum(at is not None and at != place for place, at in zip(choice, today, strict=True))
                yield moved, sum(rtt[s, p] for s, (p, _) in enumerate(choice))


@settings(max_examples=tries(6), deadline=None)
@given(data=st.data())
def test_moves_are_sites_with_another_host_also_within_a_pool(make, data):
    """They were sites that leave their pool: fewer than the plan, its rollout and replan moved."""
    count, cap = data.draw(st.integers(2, 5)), data.draw(st.integers(1, 3))
    rtt = np.array(
        data.draw(st.lists(st.lists(st.integers(1, 50), min_size=2, max_size=2), min_size=count, max_size=count))
    )
    places = [None, *((p, h) for p in range(2) for h in range(2))]
    today = data.draw(st.lists(st.sampled_from(places), min_size=count, max_size=count))
    kept = [(f"S{s:02d}", *place) for s, place in enumerate(today) if place]
    current = {
        "site": [s for s, _, _ in kept],
        "hub": [f"H{p}" for _, p, _ in kept],
        "host": [f"H{p}-{h + 1:02d}" for _, p, h in kept],
    }
    pools = {"existing_hosts": [2.0, 2.0], "max_hosts": [3.0, 3.0]}
    fleet = make.fleet(rtt.astype(float), cluster_cap=cap, current=current, pools=pools)
    result = plan(fleet)
    make.sound(fleet, result)
    if not result.then or result.then[0].aim != "moves":
        return
    moves, latency = result.then
    assert moves.value == sum(row.action == "move" for row in result.assignments) == len(moved_sites(fleet, result))
    every = list(plans_by_host(rtt, cap, result.hosts, 2, today))
    assert moves.bound <= min(moved for moved, _ in every)
    assert latency.bound <= min(total for moved, total in every if moved <= moves.value) + 1e-6


def bottlenecks(rtt, cap, hosts):
    """Yield (worst margin, smallest largest load) of every plan with as many hosts that serves all within 50 ms."""
    eligible = [[p for p in range(rtt.shape[1]) if row[p] <= 50] for row in rtt]
    counts = [n for n in itertools.product(range(hosts + 1), repeat=rtt.shape[1]) if sum(n) == hosts]
    for choice in itertools.product(*eligible):
        times = [rtt[s, p] for s, p in enumerate(choice)]
        loads = [choice.count(p) for p in range(rtt.shape[1])]
        for n in counts:
            if all(load <= cap * m for load, m in zip(loads, n, strict=True)):
                yield 50 - max(times), max(-(-load // m) for load, m in zip(loads, n, strict=True) if load), sum(times)


@settings(max_examples=tries(4), deadline=None)
@given(case=cases())
def test_bottlenecks_that_lead_are_best_over_all_counts_and_later_ones_keep_their_bound(make, case):
    rtt, _, cap = case
    hosts = min(hosts for hosts, _ in all_plans(rtt, cap))
    every = list(bottlenecks(rtt, cap, hosts))
    widest = max(margin for margin, _, _ in every)
    evenest = min(load for _, load, _ in every)
    for then, value in (("margin latency", widest), ("spread latency", evenest)):
        fleet = make.fleet(rtt, cluster_cap=cap, then=then)
        result = plan(fleet)
        make.sound(fleet, result)
        assert result.hosts == hosts
        assert (result.then[0].value, result.then[0].bound) == pytest.approx((value, value), abs=1e-6)
        assert result.then[0].proven
    both = plan(make.fleet(rtt, cluster_cap=cap, then="margin spread")).then
    assert [aim.value for aim in both] == pytest.approx(
        [widest, min(load for margin, load, _ in every if margin == widest)], abs=1e-6
    )
    latency, margin, spread = plan(make.fleet(rtt, cluster_cap=cap, then="latency margin spread")).then
    quickest = [(wide, load) for wide, load, total in every if total <= latency.value + 1e-6]
    widest = max(wide for wide, _ in quickest)
    assert margin.value <= widest + 1e-6 <= margin.bound + 2e-6
    assert spread.value >= min(load for wide, load in quickest if wide >= margin.value - 1e-6) >= spread.bound


def test_every_aim_is_told_with_cover_too(make):
    rng = np.random.default_rng(3)
    rtt = np.round(rng.uniform(5, 40, (30, 4)), 1)
    result = plan(make.fleet(rtt, cluster_cap=10, cover="hub", then="latency spread"))
    latency, reference_counts = result.then
    assert latency.value == pytest.approx(sum(a.rtt_ms for a in result.assignments), abs=1e-3)
    assert reference_counts.value == max(host.clusters for host in result.host_list)
    assert reference_counts.bound >= 30 / result.hosts


def test_where_some_are_left_out_the_bound_is_that_of_the_cheapest_who_weigh_as_much(make):
    """The bound used to add up the nearest hubs of all sites, those left out too, and met the plan by chance."""
    rtt = np.array([[10.0], [20.0], [30.0]])
    fleet = make.fleet(rtt, cluster_cap=2, max_hosts_per_hub=1, then="latency")
    result = plan(fleet)
    assert len(result.unserved) == 1
    assert (result.then[0].value, result.then[0].bound) == (30, 30)
    fleet = make.fleet(rtt, sites={"weight": [3.0, 1.0, 2.0]}, cluster_cap=2, max_hosts_per_hub=1, then="latency")
    result = plan(fleet)
    assert [one.site for one in result.unserved] == [fleet.site_ids[1]]
    assert result.then[0].value == 40
    assert result.then[0].bound <= 40


def test_the_counts_among_the_fewest_are_those_with_the_least_rtt(make):
    """One host of four carries all; the last hub is nearest to most."""
    rtt = np.array([[30.0, 20.0, 40.0, 10.0], [10.0, 45.0, 40.0, 12.0], [30.0, 44.0, 40.0, 11.0]])
    result = plan(make.fleet(rtt))
    assert [h.hub for h in result.host_list] == ["H3"]
    assert result.then[0].value == pytest.approx(33.0)
    assert result.then[0].proven


def test_margin_first_gives_up_total_rtt_for_the_worst_site(make):
    """Nearest in total leaves S01 with 1 ms of its 50; the other way round it keeps 5."""
    rtt = np.array([[10.0, 20.0], [45.0, 49.0]])
    near = plan(make.fleet(rtt, cluster_cap=1, max_hosts_per_hub=1, then="latency"))
    safe = plan(make.fleet(rtt, cluster_cap=1, max_hosts_per_hub=1, then="margin latency"))
    assert min(a.margin_ms for a in near.assignments) == pytest.approx(1.0)
    assert min(a.margin_ms for a in safe.assignments) == pytest.approx(5.0)


def test_spread_first_evens_the_loads_of_hubs(make):
    rtt = np.array([[1.0, 2.0]] * 4 + [[1.0, 60.0], [60.0, 1.0]])
    near = plan(make.fleet(rtt, cluster_cap=5, then="latency"))
    even = plan(make.fleet(rtt, cluster_cap=5, then="spread latency"))
    assert sorted(h.clusters for h in near.host_list) == [1, 5]
    assert sorted(h.clusters for h in even.host_list) == [3, 3]


def test_a_later_aim_never_worsens_an_earlier_one(make):
    rng = np.random.default_rng(5)
    rtt = np.round(rng.uniform(5, 70, (40, 5)), 1)
    base = plan(make.fleet(rtt, cluster_cap=9, then="latency"))
    for then in ("latency margin", "latency spread", "latency margin spread"):
        result = plan(make.fleet(rtt, cluster_cap=9, then=then))
        assert result.hosts == base.hosts
        assert result.then[0].value == pytest.approx(base.then[0].value, abs=1e-3)


@pytest.mark.parametrize("then", ["speed", "moves moves", "latency; moves"])
def test_an_aim_that_is_none_or_named_twice_is_refused(make, then):
    with pytest.raises(InputError, match="each only once"):
        plan(make.fleet([[5.0]], then=then))


def test_an_uplink_that_is_full_sends_sites_elsewhere(make):
    fleet = make.fleet(
        [[5.0, 40.0]] * 4,
        sites={"tie_breaker_kbps": [600.0] * 4},
        pools={"uplink_mbps": [2.0, np.nan]},
    )
    result = plan(fleet)
    make.sound(fleet, result)
    assert result.hosts == 1
    assert {a.hub for a in result.assignments} == {"H1"}


def test_a_site_that_no_uplink_can_hold_is_told_so(make):
    fleet = make.fleet([[5.0]], sites={"tie_breaker_kbps": [3000.0]}, pools={"uplink_mbps": [2.0]})
    result = plan(fleet)
    make.sound(fleet, result)
    assert (
        "its tie-breaker traffic is 3000 kb/s; the largest uplink carries 2000 kb/s"
        in result.unserved[0].reasons[0].detail
    )


def test_sites_of_a_host_that_is_given_up_go_where_fewest_move(make):
    """H0 gives up one of two hosts. Those on it move anyway, so it is they who leave for H1, and nobody else."""
    today = ["H0-01"] * 4 + ["H0-02"] * 2 + ["H1-01"] * 2
    fleet = make.fleet(
        # By total RTT the two that leave H0 would be the first ones, from the host that stays.
        [[20.0, 10.0]] * 2 + [[10.0, 20.0]] * 4 + [[90.0, 10.0]] * 2,
        cluster_cap=4,
        pools={"existing_hosts": [2.0, 1.0], "max_hosts": [2.0, 1.0]},
        current={"site": [f"S{s:02d}" for s in range(8)], "hub": [host[:2] for host in today], "host": today},
    )
    result = plan(fleet)
    make.sound(fleet, result)
    assert result.hosts == 2
    assert {row.site for row in result.assignments if row.action == "move"} == {"S04", "S05"}
    assert [aim.value for aim in result.then][:1] == [2.0]


def test_the_bound_on_rtt_counts_all_sites_that_cannot_have_their_own_tie_breaker(make):
    """It was 0 where any site could."""
    fleet = make.fleet(
        [[10.0], [20.0], [30.0]],
        sites={"own_tie_breaker": ["no", "possible", "no"]},
        pools={"existing_hosts": [1.0]},
        objective="new_hosts",
        then="latency",
    )
    (latency,) = plan(fleet).then
    assert latency.bound == pytest.approx(60.0)
    assert latency.value == pytest.approx(60.0)
