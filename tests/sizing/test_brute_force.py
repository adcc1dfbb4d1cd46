"""Small random fleets: the plan equals the best of all plans, found by trying every one of them."""

import itertools

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.sizing import plan
from tests.arrays import fewest_bins


def brute_force(case) -> tuple[float, float, float]:
    """Return the best over every way to send sites to pools, in order: most weight served of the sites that are served
    today, where these come first, most of all sites, least objective."""
    count, width = case["rtt"].shape
    best = (-1.0, -1.0, -float("inf"))
    options = []
    for s in range(count):
        eligible = [p for p in range(width) if case["rtt"][s, p] <= 50 and case["clusters"][s] <= case["cap"][p]]
        eligible = [p for p in eligible if fits_uplink(case, [s], p)]
        options.append([*eligible, "unserved", *(["own"] if case["own"][s] == "possible" else [])])
    for choice in itertools.product(*options):
        served = [s for s, where in enumerate(choice) if where != "unserved"]
        first = sum(case["weight"][s] for s in served if case["keep"] and case["today"][s])
        weights = (first, sum(case["weight"][s] for s in served))
        if weights < best[:2]:
            continue
        bins = [
            fewest_bins(tuple(sorted(case["clusters"][s] for s in range(count) if choice[s] == p)), case["cap"][p])
            for p in range(width)
        ]
        if not all(fits_uplink(case, [s for s in range(count) if choice[s] == p], p) for p in range(width)):
            continue
        if any(b > most for b, most in zip(bins, case["most"], strict=True)):
            continue
        best = max(best, (*weights, -value(case, choice, bins)))
    return best[0], best[1], -best[2]


def fits_uplink(case, sites, p) -> bool:
    return not sum(case["kbps"][s] * case["clusters"][s] for s in sites) > case["uplink"][p] * 1000


def value(case, choice, bins) -> float:
    if case["objective"] == "hosts":
        return sum(bins)
    if case["objective"] == "new_hosts":
        return sum(max(0, b - e) for b, e in zip(bins, case["existing"], strict=True))
    own = sum(case["own_cost"][s] for s, where in enumerate(choice) if where == "own")
    pairs = sum(case["cost"][s, where] for s, where in enumerate(choice) if isinstance(where, int))
    return own + pairs + sum(b * price for b, price in zip(bins, case["price"], strict=True))


@st.composite
def cases(draw, objective: str):
    count, width = draw(st.integers(1, 5)), draw(st.integers(1, 3))

    def each(n, strategy):
        return draw(st.lists(strategy, min_size=n, max_size=n))

    cap = each(width, st.integers(1, 5))
    return {
        "objective": objective,
        "rtt": np.array(each(count * width, st.sampled_from([10.0, 50.0, 51.0]))).reshape(count, width),
        "cost": np.array(each(count * width, st.integers(0, 9))).reshape(count, width),
        "clusters": each(count, st.integers(1, 4)),
        "weight": each(count, st.sampled_from([0.5, 1.0, 2.5])),
        "own": each(count, st.sampled_from(["no", "no", "no", "possible"])),
        "own_cost": each(count, st.integers(0, 20)),
        "cap": cap,
        "most": each(width, st.integers(0, 3)),
        "kbps": each(count, st.sampled_from([0, 0, 500, 1000])),
        "uplink": each(width, st.sampled_from([float("nan")] * 3 + [2.0, 4.0])),
        "existing": each(width, st.integers(0, 2)),
        "price": each(width, st.integers(1, 12)),
        "today": each(count, st.booleans()),
        "keep": draw(st.booleans()),
    }


def as_fleet(make, case):
    return make.fleet(
        case["rtt"],
        costs=case["cost"] if case["objective"] == "cost" else None,
        sites={
            "clusters": case["clusters"],
            "weight": case["weight"],
            "own_tie_breaker": case["own"],
            "own_tie_breaker_cost": case["own_cost"],
            "tie_breaker_kbps": case["kbps"],
        },
        pools={
            "cluster_cap": case["cap"],
            "max_hosts": case["most"],
            "existing_hosts": case["existing"],
            "host_cost": case["price"],
            "uplink_mbps": case["uplink"],
        },
        current={"site": [f"S{s:02d}" for s in np.flatnonzero(case["today"])], "hub": ["H0"] * sum(case["today"])},
        objective=case["objective"],
        keep_served=case["keep"],
    )


@pytest.mark.parametrize(("objective", "times"), [("hosts", 4), ("new_hosts", 2), ("cost", 2)])
def test_plan_is_the_best_of_all_plans(make, objective, times, examples):
    @settings(max_examples=times * examples, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(cases(objective))
    def check(case):
        fleet = as_fleet(make, case)
        result = plan(fleet)
        make.sound(fleet, result)
        left_out = {u.site for u in result.unserved}
        served = sum(w for s, w in zip(fleet.site_ids, case["weight"], strict=True) if s not in left_out)
        first, most, least = brute_force(case)
        assert served == pytest.approx(most)
        told = {aim.aim: (aim.value, aim.bound, aim.proven) for aim in result.before}
        assert told == {"served": (pytest.approx(most), pytest.approx(most), True)} | (
            {"kept_served": (pytest.approx(first), pytest.approx(first), True)} if case["keep"] else {}
        )
        assert result.objective_value == pytest.approx(least)
        assert result.lower_bound == pytest.approx(least)
        assert result.status == "optimal"

    check()


def test_a_site_too_large_for_any_host_stays_among_those_left_out_when_another_is_served_for_fewer_moves(make):
    """It fell out of the plan: who could never be served was told from who finds no room by a code that both have."""
    fleet = make.fleet(
        np.full((4, 3), 10.0),
        sites={"clusters": [2, 1, 1, 1], "weight": [0.5] * 4},
        pools={"cluster_cap": [1, 1, 1], "max_hosts": [0, 0, 1]},
        current={"site": ["S01"], "hub": ["H0"]},
    )
    result = plan(fleet)
    make.sound(fleet, result)
    assert "S00" in {entry.site for entry in result.unserved}
    assert len(result.unserved) == 3
