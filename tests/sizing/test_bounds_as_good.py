"""Bounds on later aims where plans as good differ in hosts and in whom they serve: by trying every plan there is."""

import itertools

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.intake import fleet_from_tables
from planner.sizing import plan
from tests.how_many import USUAL
from tests.independent.generator import Wanted, tables_of
from tests.sizing.test_brute_force import as_fleet, cases, fits_uplink, value

from tests.arrays import fewest_bins  # isort: skip


def every_plan(case):
    """Yield where each site goes in every plan (a pool, "own" or "unserved"), and the hosts of each pool."""
    count, width = case["rtt"].shape
    options = []
    for s in range(count):
        eligible = [p for p in range(width) if case["rtt"][s, p] <= 50 and case["clusters"][s] <= case["cap"][p]]
        options.append([*eligible, "unserved", *(["own"] if case["own"][s] == "possible" else [])])
    for choice in itertools.product(*options):
        inside = [[s for s in range(count) if choice[s] == p] for p in range(width)]
        bins = [
            fewest_bins(tuple(sorted(case["clusters"][s] for s in mine)), case["cap"][p])
            for p, mine in enumerate(inside)
        ]
        few = all(b <= most for b, most in zip(bins, case["most"], strict=True))
        if few and all(fits_uplink(case, mine, p) for p, mine in enumerate(inside)):
            yield choice, bins


def before(case, choice, bins):
    """What counts before the later aims, in order."""
    served = [s for s, where in enumerate(choice) if where != "unserved"]
    own = [s for s, where in enumerate(choice) if where == "own"]
    return (
        -sum(case["weight"][s] for s in served if case["keep"] and case["today"][s]),
        -sum(case["weight"][s] for s in served),
        value(case, choice, bins),
        sum(bins) if case["objective"] == "new_hosts" else 0,
        len(own),
        0 if case["objective"] == "cost" else sum(case["own_cost"][s] for s in own),
    )


def later(case, choice):
    """Moves, the total round-trip time and the smallest margin; who is today at a hub that it may not use moves."""
    at = [(s, where) for s, where in enumerate(choice) if isinstance(where, int)]
    moved = [s for s, where in enumerate(choice) if case["today"][s] and where not in (0, "unserved")]
    margin = min((50 - case["rtt"][s, p] for s, p in at), default=None)
    return {"moves": len(moved), "latency": sum(case["rtt"][s, p] for s, p in at), "margin": margin}


@pytest.mark.parametrize("then", ["moves latency", "latency moves", "margin latency"])
@pytest.mark.parametrize("objective", ["hosts", "new_hosts", "cost"])
def test_no_plan_as_good_is_beyond_a_bound(make, objective, then, examples):
    compared, met = [], []

    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(cases(objective), st.integers(0, 99))
    def check(case, seed):
        # More to choose from than at the limit or far from it.
        case["rtt"] = np.where(case["rtt"] <= 50, np.random.default_rng(seed).integers(5, 50, case["rtt"].shape), 51.0)
        # Every host of the first pool, where sites are today, runs: nobody moves who is in that pool.
        case["existing"][0] = case["most"][0]
        fleet = as_fleet(make, case)
        made = plan(fleet.replace(policy=fleet.policy.replace(then=then)))
        make.sound(fleet, made)
        plans = [(before(case, *one), later(case, one[0])) for one in every_plan(case)]
        first = min(one for one, _ in plans)
        equals = [figures for one, figures in plans if np.allclose(one, first, rtol=1e-9, atol=1e-9)]
        for aim in made.then:
            sign = -1.0 if aim.aim == "margin" else 1.0
            best = min(sign * figures[aim.aim] for figures in equals)
            assert sign * aim.bound <= best + 1e-6 <= sign * aim.value + 2e-6
            equals = [figures for figures in equals if sign * figures[aim.aim] <= sign * aim.value + 1e-6]
            compared.append(aim.aim)
            met.append(abs(aim.bound - sign * best) <= 1e-3)

    check()
    assert examples < USUAL or sum(met) >= 0.8 * len(compared)


def test_a_bound_on_moves_holds_whoever_is_served_for_the_first_time():
    """It counted those who get their first host in one plan, and was read with those of another: 3, not 4."""
    wanted = Wanted(("none",), ("today",))
    tables = tables_of(91_033, wanted)
    made = plan(fleet_from_tables(tables.frames(), tables.policy))
    moves = made.then[0]
    assert (moves.aim, moves.value, moves.bound, moves.proven) == ("moves", 4.0, 4.0, True)
