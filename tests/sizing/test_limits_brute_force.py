"""Limits on hosts, hubs and zones on small random fleets: the plan is the best of all plans, found by trying each.

A site's clusters stay together, or go one by one where sites may be split; weight and traffic go with them in shares.
"""

import itertools
from fractions import Fraction
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.sizing import plan
from tests.how_many import tries
from tests.sizing.test_cover_brute_force import most_covered

KINDS = ("", "_hub", "_zone")
BLANK = float("nan")


@cache
def fewest_bins(items, cap, most) -> float:
    """Fewest hosts for items of (clusters, weight), by which others go with the first one; inf where one fits none."""
    if not items:
        return 0
    first, rest = items[0], items[1:]
    best = float("inf")
    for picks in itertools.product((False, True), repeat=len(rest)):
        inside = [first, *(item for item, pick in zip(rest, picks, strict=True) if pick)]
        if sum(k for k, _ in inside) <= cap and sum(w for _, w in inside) <= most:
            left = tuple(item for item, pick in zip(rest, picks, strict=True) if not pick)
            best = min(best, 1 + fewest_bins(left, cap, most))
    return best


def places(case):
    """Return (kind, pools) of every hub and zone."""
    width = len(case["hub"])
    hubs = [{p for p in range(width) if case["hub"][p] == hub} for hub in set(case["hub"])]
    zones = [
        {p for p in range(width) if any(z in case["zone"][q] for q in range(width) if case["hub"][q] == case["hub"][p])}
        for z in set(itertools.chain.from_iterable(case["zone"]))
    ]
    return [*(("_hub", hub) for hub in hubs), *(("_zone", zone) for zone in (*hubs, *zones))]


def brute_force(case) -> tuple[float, float, int]:
    """Return (most weight served, least objective among those, fewest own tie-breakers) over every way to send items.

    Before own tie-breakers, hosts count where the objective is new hosts.
    """
    count, width = case["rtt"].shape
    weight = [Fraction(w) for w in case["weight"]]
    whole = sum(weight)
    most = {
        kind: whole if case[f"share{kind}"] is None else Fraction(case[f"share{kind}"]) / 100 * whole for kind in KINDS
    }
    radius = {kind: 999 if case[f"radius{kind}"] is None else case[f"radius{kind}"] for kind in KINDS}
    options = []
    for s in range(count):
        pools = [p for p in range(width) if case["rtt"][s, p] <= 50]
        parts, size = (case["clusters"][s], 1) if case["split"] else (1, case["clusters"][s])
        ways = itertools.combinations_with_replacement(pools, parts)
        own = [None] if case["own"][s] == "possible" else []
        kbps = size * case["kbps"][s]
        options.append([*(tuple((p, size, weight[s] / parts, kbps) for p in way) for way in ways), (), *own])
    best = (Fraction(-1), 0.0, 0, 0)
    for choice in itertools.product(*options):
        served = sum(weight[s] for s, items in enumerate(choice) if items != ())
        if served < best[0]:
            continue
        items = [item for way in choice for item in way or ()]
        inside = {p: [(k, w) for q, k, w, _ in items if q == p] for p in range(width)}
        if too_busy(case, [(p, kbps) for p, _, _, kbps in items]) or any(
            sum(k for p in pools for k, _ in inside[p]) > radius[kind]
            or sum(w for p in pools for _, w in inside[p]) > most[kind]
            for kind, pools in places(case)
        ):
            continue
        bins = [fewest_bins(tuple(sorted(inside[p])), min(case["cap"][p], radius[""]), most[""]) for p in range(width)]
        if any(b > m for b, m in zip(bins, case["most"], strict=True)) or racks_overfull(case, bins):
            continue
        hosts = sum(bins) if case["objective"] == "new_hosts" else 0
        best = max(best, (served, -value(case, choice, bins), -hosts, -sum(where is None for where in choice)))
    return float(best[0]), -best[1], -best[3]


def racks_overfull(case, bins) -> bool:
    """Say whether so many hosts of each pool take more rack units at a hub than there are."""
    taken = dict.fromkeys(case["hub"], 0)
    for hub, hosts, units in zip(case["hub"], bins, case["units"], strict=True):
        taken[hub] += hosts * units
    return any(units > case["rack"].get(hub, BLANK) for hub, units in taken.items())


def too_busy(case, sent) -> bool:
    """Say whether the (pool, kb/s) of ``sent`` exceed an uplink of a hub, which its pools share."""
    carried = {hub: sum(kbps for p, kbps in sent if case["hub"][p] == hub) for hub in case["uplink"]}
    return any(kbps > 1000 * case["uplink"][hub] for hub, kbps in carried.items())


def value(case, choice, bins) -> float:
    if case["objective"] == "hosts":
        return sum(bins)
    if case["objective"] == "new_hosts":
        return sum(max(0, b - e) for b, e in zip(bins, case["existing"], strict=True))
    own = sum(case["own_cost"][s] for s, where in enumerate(choice) if where is None)
    return own + sum(b * price for b, price in zip(bins, case["price"], strict=True))


@st.composite
def cases(draw, *, split: bool, most_sites: int = 5, own=("no",) * 5 + ("possible",)):
    count, width = draw(st.integers(1, 4 if split else most_sites)), draw(st.integers(1, 3))

    def each(n, strategy):
        return draw(st.lists(strategy, min_size=n, max_size=n))

    case = {
        "split": split,
        "objective": draw(st.sampled_from(["hosts", "hosts", "new_hosts", "cost"])),
        "rtt": np.array(each(count * width, st.sampled_from([10.0, 10.0, 50.0, 51.0]))).reshape(count, width),
        "clusters": each(count, st.sampled_from([1, 1, 2, 2 if split else 3])),
        "weight": each(count, st.sampled_from([0.5, 1.0, 1.0, 2.5, 4.0])) if draw(st.booleans()) else [2.0] * count,
        "own": each(count, st.sampled_from(own)),
        "own_cost": each(count, st.integers(0, 20)),
        "cap": each(width, st.integers(1, 5)),
        "most": each(width, st.integers(0, 3)),
        "existing": each(width, st.integers(0, 2)),
        "price": each(width, st.integers(1, 12)),
        "hub": each(width, st.sampled_from(["A", "B", "C"])),
        "zone": each(width, st.sampled_from([(), (), ("x",), ("y",), ("x", "y")])),
        "kbps": each(count, st.sampled_from([0, 100, 250])),
        "uplink": {hub: draw(st.sampled_from([BLANK, BLANK, 0.2, 0.5])) for hub in "ABC"},
        "rack": {hub: draw(st.sampled_from([BLANK, BLANK, 2.0, 3.0])) for hub in "AB"},
        "units": each(width, st.sampled_from([1, 1, 2])),
    }
    for kind in KINDS:
        case[f"radius{kind}"] = draw(st.sampled_from([None, None, 2, 3, 5]))
        case[f"share{kind}"] = draw(st.sampled_from([None, None, 25, 40, 50, 66.5]))
    return case


def as_fleet(make, case, **policy):
    for p, hub in enumerate(case["hub"]):  # pools at one hub share its round-trip times
        case["rtt"][:, p] = case["rtt"][:, case["hub"].index(hub)]
    hubs = list(dict.fromkeys(case["hub"]))
    fleet = make.fleet(
        case["rtt"][:, [case["hub"].index(hub) for hub in hubs]],
        sites={
            "clusters": case["clusters"],
            "weight": case["weight"],
            "own_tie_breaker": case["own"],
            "own_tie_breaker_cost": case["own_cost"],
            "tie_breaker_kbps": case["kbps"],
        },
        hubs=hubs,
        objective=case["objective"],
        split_sites=case["split"],
        **{f"max_blast_radius{kind}": case[f"radius{kind}"] for kind in KINDS},
        **{f"max_share_percent{kind}": case[f"share{kind}"] for kind in KINDS},
        **policy,
    )
    table = {
        "hub": case["hub"],
        "pool": [f"P{p}" for p in range(len(case["hub"]))],
        "cluster_cap": case["cap"],
        "max_hosts": case["most"],
        "existing_hosts": case["existing"],
        "host_cost": case["price"],
        "zone": case["zone"],
        "uplink_mbps": [case["uplink"][hub] for hub in case["hub"]],
        "rack_units": [case["rack"].get(hub, BLANK) for hub in case["hub"]],
        "host_rack_units": case["units"],
    }
    return fleet.replace(pools=make.pools(table))


@pytest.mark.parametrize("split", [False, True], ids=["together", "split"])
def test_plan_within_limits_is_the_best_of_all_plans(make, split, examples):
    @settings(max_examples=2 * examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases(split=split))
    def check(case):
        fleet = as_fleet(make, case)
        result = plan(fleet)
        make.sound(fleet, result)
        left_out = {u.site for u in result.unserved}
        served = sum(w for s, w in zip(fleet.site_ids, case["weight"], strict=True) if s not in left_out)
        most, least, _ = brute_force(case)
        assert served == pytest.approx(most)
        assert result.objective_value == pytest.approx(least)
        assert result.lower_bound == pytest.approx(least)
        assert result.status == "optimal"

    check()


@pytest.mark.parametrize("split", [False, True], ids=["together", "split"])
def test_no_own_tie_breaker_is_used_that_saves_nothing(make, split, examples):
    @settings(max_examples=2 * examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases(split=split, own=("possible", "possible", "no")), st.sampled_from(["radius_hub", "share_hub"]))
    def check(case, limit):
        case |= {limit: 3 if limit == "radius_hub" else 40, "cap": [3 + cap for cap in case["cap"]]}
        fleet = as_fleet(make, case)
        result = plan(fleet)
        make.sound(fleet, result)
        most, least, fewest = brute_force(case)
        assert sum(w for s, w in zip(fleet.site_ids, case["weight"], strict=True) if s in served(result)) == most
        assert result.objective_value == pytest.approx(least)
        assert len(result.no_host_needed) == fewest

    check()


def served(result):
    return {a.site for a in result.assignments} | {n.site for n in result.no_host_needed}


def brute_force_with_cover(case) -> tuple[float, float, int]:
    """Return (most weight served, most covered among those, fewest hosts); limits are those of the day without loss."""
    count, weight = len(case["rtt"]), [Fraction(w) for w in case["weight"]]
    whole = sum(weight)
    best = (-1.0, -1.0, -99)
    for numbers in itertools.product(*(range(most + 1) for most in case["most"])):
        if racks_overfull(case, numbers):
            continue
        hosts = [p for p, number in enumerate(numbers) for _ in range(number)]
        options = [[*(j for j, p in enumerate(hosts) if case["rtt"][s, p] <= 50), None] for s in range(count)]
        for choice in itertools.product(*options):
            homes = {s: j for s, j in enumerate(choice) if j is not None}
            served = float(sum(weight[s] for s in homes))
            if (served, served, -len(hosts)) <= best:
                continue
            at = [
                *(("", {j}) for j in range(len(hosts))),
                *((kind, {j for j, p in enumerate(hosts) if p in pools}) for kind, pools in places(case)),
            ]
            load = [sum(case["clusters"][s] for s, h in homes.items() if h == j) for j in range(len(hosts))]
            over = [clusters > case["cap"][p] for clusters, p in zip(load, hosts, strict=True)]
            over.append(too_busy(case, [(hosts[j], case["clusters"][s] * case["kbps"][s]) for s, j in homes.items()]))
            for kind, inside in at:
                on = [s for s, j in homes.items() if j in inside]
                over.append(sum(case["clusters"][s] for s in on) > (case[f"radius{kind}"] or 999))
                over.append(sum(weight[s] for s in on) * 100 > Fraction(case[f"share{kind}"] or 100) * whole)
            if not any(over):
                best = max(best, (served, most_covered(case, hosts, homes), -len(hosts)))
    return best[0], best[1], -best[2]


@pytest.mark.parametrize("cover", ["host", "hub", "zone"])
def test_plan_with_cover_within_limits_is_the_best_of_all_plans(make, cover, examples):
    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases(split=False, most_sites=4))
    def check(case):
        case |= {"cover": cover, "objective": "hosts", "own": ["no"] * len(case["rtt"])}
        case["most"] = [min(2, most) for most in case["most"]]
        fleet = as_fleet(make, case, cover=cover)
        result = plan(fleet)
        make.sound(fleet, result)
        assert make.covered(fleet, result, case["weight"]) == pytest.approx(brute_force_with_cover(case))
        assert result.lower_bound == result.hosts
        assert result.status == "optimal"

    check()


@pytest.mark.parametrize("objective", ["hosts", "new_hosts", "cost", "cover"])
def test_racks_that_several_pools_share_are_shared_out_best(make, objective):
    """Two pools at hub A and one or two more elsewhere, with nothing else in the way."""

    cover = objective == "cover"

    @settings(max_examples=tries(2), deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases(split=False, most_sites=4, own=("no",)), st.sampled_from([2, 3, 4]))
    def check(case, rack):
        case |= {f"{what}{kind}": None for what in ("radius", "share") for kind in KINDS}
        width = len(case["hub"])
        case |= {"hub": ["A", "A", "B"][:width], "zone": [()] * width, "rack": {"A": float(rack)}, "uplink": {}}
        case |= {"uplink": dict.fromkeys("AB", BLANK), "most": [2] * width, "objective": objective}
        if cover:
            case |= {"cover": "host", "objective": "hosts", "own": ["no"] * len(case["rtt"])}
        fleet = as_fleet(make, case, **({"cover": "host"} if cover else {}))
        result = plan(fleet)
        make.sound(fleet, result)
        if cover:
            assert make.covered(fleet, result, case["weight"]) == pytest.approx(brute_force_with_cover(case))
        else:
            assert result.objective_value == pytest.approx(brute_force(case)[1])
        assert result.status == "optimal"

    check()


def test_a_site_that_shared_racks_leave_out_is_told_so(make):
    """Three sites of a host each; two pools at the hub, and rack units for two hosts of two units."""
    table = {"hub": ["A", "A"], "pool": ["A1", "A2"], "cluster_cap": [1, 1], "max_hosts": [2, 2]}
    table |= {"rack_units": [5, BLANK], "host_rack_units": [2, 2]}
    fleet = make.fleet([[5.0]] * 3, hubs=["A"]).replace(pools=make.pools(table))
    result = plan(fleet)
    make.sound(fleet, result)
    assert (result.hosts, len(result.unserved), result.status) == (2, 1, "optimal")
    assert "rack_units at hub A" in result.unserved[0].reasons[0].detail
    assert "rack_units at hub A" in result.unserved[0].remedy


def test_a_split_site_may_use_hubs_whose_uplinks_could_not_carry_all_of_it(make):
    """Four clusters of 250 kb/s, and two uplinks of 500 kb/s."""
    sites, pools = {"clusters": [4], "tie_breaker_kbps": [250.0]}, {"uplink_mbps": [0.5, 0.5]}
    fleet = make.fleet([[5.0, 5.0]], sites=sites, pools=pools, split_sites=True)
    result = plan(fleet)
    make.sound(fleet, result)
    assert sorted((a.hub, a.clusters) for a in result.assignments) == [("H0", 2), ("H1", 2)]


@pytest.mark.parametrize("split", [False, True], ids=["together", "split"])
def test_a_cluster_that_no_uplink_can_carry_is_told_so(make, split):
    sites = {"clusters": [2], "tie_breaker_kbps": [600.0]}
    result = plan(make.fleet([[5.0]], sites=sites, pools={"uplink_mbps": [0.5]}, split_sites=split))
    assert [reason.code for reason in result.unserved[0].reasons] == ["uplink"]
    said = "600 kb/s for one cluster" if split else "1200 kb/s"
    assert f"traffic is {said}; the largest uplink carries 500 kb/s" in result.unserved[0].reasons[0].detail


def test_a_cluster_of_a_split_site_that_weighs_too_much_for_any_hub_is_told_so(make):
    """Of a weight of 10, half a site of 9 is 45 %."""
    sites = {"clusters": [2, 1], "weight": [9.0, 1.0]}
    fleet = make.fleet([[5.0], [5.0]], sites=sites, split_sites=True, max_share_percent_hub=40)
    result = plan(fleet)
    make.sound(fleet, result)
    assert [(u.site, [r.code for r in u.reasons]) for u in result.unserved] == [("S00", ["blast_radius"])]
    assert (
        "one cluster has 45.0 % of the fleet's weight, above max_share_percent_hub, 40 %"
        in result.unserved[0].reasons[0].detail
    )
    assert "raise max_share_percent" in result.unserved[0].remedy
    assert "split" not in result.unserved[0].remedy


def test_a_standby_may_stand_where_the_uplink_is_too_thin_for_a_home(make):
    """Uplinks are limits of the ordinary day; so the site lives at the hub that can carry it, whatever is nearer."""
    sites, pools = {"tie_breaker_kbps": [600.0]}, {"uplink_mbps": [0.5, 1.0]}
    fleet = make.fleet([[5.0, 9.0]], sites=sites, pools=pools, cover="hub")
    result = plan(fleet)
    make.sound(fleet, result)
    assert [(a.hub, a.standby) for a in result.assignments] == [("H1", "H0-01")]
    assert not result.uncovered


def test_a_site_that_only_stands_by_anywhere_is_ineligible_with_cover_too(make):
    fleet = make.fleet([[5.0, 9.0]], sites={"tie_breaker_kbps": [600.0]}, pools={"uplink_mbps": [0.5] * 2}, cover="hub")
    result = plan(fleet)
    make.sound(fleet, result)
    assert [reason.code for reason in result.unserved[0].reasons] == ["uplink"]


def test_standbys_for_each_other_are_no_cover_where_neither_may_be_the_home(make):
    """H0 and H1 could follow each other, but are too thin for a home; H2, where it lives, shares a zone with both."""
    fleet = make.fleet([[5.0, 6.0, 9.0]], sites={"tie_breaker_kbps": [600.0]}, cover="zone")
    pools = {"hub": ["H0", "H1", "H2"], "pool": ["H0", "H1", "H2"], "uplink_mbps": [0.5, 0.5, BLANK]}
    pools["zone"] = [("x",), ("y",), ("x", "y")]
    fleet = fleet.replace(pools=make.pools(pools))
    result = plan(fleet)
    make.sound(fleet, result)
    assert [(u.site, [r.code for r in u.reasons]) for u in result.uncovered] == [("S00", ["cover_place"])]
