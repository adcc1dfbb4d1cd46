"""Bounds on moves and round-trip times where not everybody can be served: never above the best plan, by brute force."""

import itertools

import numpy as np
import pytest

from planner.sizing import plan
from tests.arrays import fleet_of

SITES, POOLS, CAP = 6, 2, 2


def best_by_brute_force(rtt, weights, today):
    """Hosts, moves and total RTT of the plans that serve the greatest weight, in this order."""
    best = None
    for places in itertools.product(range(-1, POOLS), repeat=SITES):
        load = [places.count(pool) for pool in range(POOLS)]
        if max(load) > CAP:
            continue
        served = [i for i in range(SITES) if places[i] >= 0]
        moves = sum(today.get(i, places[i]) != places[i] for i in served)
        figures = (
            -sum(weights[i] for i in served),
            sum(map(bool, load)),
            moves,
            sum(rtt[i, places[i]] for i in served),
        )
        best = figures if best is None or figures < best else best
    return best[2:]


@pytest.mark.parametrize("seed", range(8))
def test_bounds_hold_and_say_something(seed):
    rng = np.random.default_rng(seed)
    rtt = rng.integers(5, 50, (SITES, POOLS)).astype(float)
    weights = rng.choice([1.0, 1.0, 2.0], SITES)
    today = {i: int(rng.integers(0, POOLS)) for i in range(0, SITES, 2)}
    fleet = fleet_of(
        rtt,
        sites={"weight": weights},
        pools={"cluster_cap": [float(CAP)] * POOLS, "max_hosts": [1.0] * POOLS},
        current={"site": [f"S{i:02d}" for i in today], "hub": [f"H{pool}" for pool in today.values()]},
    )
    made = plan(fleet)
    assert made.unserved
    bounds = {aim.aim: aim.bound for aim in made.then}
    moves, total_ms = best_by_brute_force(rtt, weights, today)
    assert bounds.get("moves", 0.0) <= moves
    assert 0.0 < bounds["latency"] <= total_ms + 1e-6
