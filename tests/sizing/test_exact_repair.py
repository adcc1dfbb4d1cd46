"""All sites of a few hosts put anew: against all ways there are, a recount, and a swap of sites."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.sizing.cover.primal_search.exact_repair import Around, exact_repair
from planner.sizing.cover.primal_search.polish import pair_of
from planner.sizing.cover.primal_search.repair import force_in
from planner.sizing.cover.primal_search.state import State
from planner.sizing.solvers.budget import SolveBudget
from tests.how_many import tries
from tests.sizing.test_primal import ground_of, recounted, scattered

CLOSE = 1e-6


def crowded(ground):
    """Return one host at every pool and all sites put where least is broken; None where one finds no host."""
    state = State(ground)
    for p in range(ground.problem.pools):
        state.open(p)
    everybody = np.arange(ground.problem.sites)
    return state if force_in(state, everybody, ~ground.coverable) else None


def repaired(state, seed=0):
    rng = np.random.default_rng(seed)
    return exact_repair(state.copy(), ~state.ground.coverable, 8, rng, SolveBudget())


@pytest.mark.parametrize("cover", ["none", "host", "hub", "zone"])
@settings(max_examples=tries(8), deadline=None)
@given(seed=st.integers(0, 10_000), radius=st.sampled_from([None, 12, 30]))
def test_never_more_is_broken_than_before_and_all_of_it_is_counted(make, cover, seed, radius):
    fleet = scattered(make, seed, 24, 6, caps=(8, 12, 16), most=2, cover=cover, max_blast_radius_hub=radius)
    state = crowded(ground_of(fleet))
    if state is None:
        return
    after = repaired(state, seed)
    assert after.violation() <= state.violation() + CLOSE
    assert after.violation() == pytest.approx(recounted(after))
    assert ((after.home >= 0) == (state.home >= 0)).all()
    assert (after.standby[after.ground.coverable] >= 0).all()


def unbroken(ground):
    """Yield all ways to put the sites on one host a pool that break nothing."""
    problem = ground.problem
    hosts = range(problem.pools)
    pairs = [(h, g) for h in hosts for g in hosts if h != g and ground.follows[h, g]]
    ways = [[w for w in pairs if set(w) <= set(problem.pool[problem.site == s])] for s in range(problem.sites)]
    for chosen in itertools.product(*ways):
        state = State(ground)
        for p in hosts:
            state.open(p)
        for s, (home, standby) in enumerate(chosen):
            state.put(s, home, standby)
        if state.violation() <= CLOSE:
            yield state


def test_room_is_found_where_any_way_has_it(make):
    """Four hosts are one neighbourhood, so that one program decides."""
    met = {True: 0, False: 0}
    for seed in range(30):
        fleet = scattered(make, seed, 5, 4, clusters=(2, 3, 5), caps=(6, 9, 12), most=1, cover="host")
        ground = ground_of(fleet)
        state = crowded(ground) if ground.coverable.all() else None
        if state is None:
            continue
        found = any(True for _ in unbroken(ground))
        met[found] += 1
        assert (repaired(state).violation() <= CLOSE) == found
    assert min(met.values()) >= 3


def test_the_least_cost_of_homes_is_that_of_all_ways(make):
    """The most that one cost may be is kept: what it is in the state to begin with."""
    cheaper = 0
    for seed in range(12):
        fleet = scattered(make, seed, 4, 4, clusters=(2, 3, 5), caps=(6, 9, 12), most=1, cover="host")
        ground = ground_of(fleet)
        ways = list(unbroken(ground)) if ground.coverable.all() else []
        if not ways:
            continue
        rng = np.random.default_rng(seed)
        cost = rng.integers(0, 3, (ground.problem.sites, ground.problem.pools)).astype(float)
        kept = rng.integers(0, 3, len(ground.problem.pool)).astype(float)

        def of_pairs(state, kept=kept):
            return kept[pair_of(state, np.arange(len(state.home)))].sum()

        def of_homes(state, cost=cost):
            return cost[np.arange(len(state.home)), state.home].sum()

        first = ways[int(rng.integers(len(ways)))]
        found = Around(first, ~ground.coverable, np.ones(first.hosts, dtype=bool), [kept]).solved(SolveBudget(), cost)
        assert found.violation() <= CLOSE
        assert of_homes(found) == min(of_homes(way) for way in ways if of_pairs(way) <= of_pairs(first))
        cheaper += of_homes(found) < of_homes(first)
    assert cheaper >= 3


def on_two_full_hosts(fleet):
    state = State(ground_of(fleet))
    for p in range(2):
        state.open(p)
    for s, host in enumerate([0, 0, 0, 1, 1]):
        state.put(s, host, -1)
    return state


def test_sites_change_places_where_no_single_one_can_move(make):
    """Two hosts of 6 hold 3 + 2 + 2 and 3 + 2: with 3 + 3 and 2 + 2 + 2 nothing is broken."""
    fleet = make.fleet(
        np.full((5, 2), 10.0),
        sites={"clusters": [3, 2, 2, 3, 2]},
        pools={"cluster_cap": [6, 6], "max_hosts": [1, 1]},
    )
    state = on_two_full_hosts(fleet)
    assert state.violation() > 0
    assert repaired(state).violation() == 0


def test_a_site_on_no_shared_host_takes_none_of_their_room(make):
    """The same two hosts are full then: a sixth site, which has its own tie-breaker, would break something again."""
    fleet = make.fleet(
        np.full((6, 2), 10.0),
        sites={"clusters": [3, 2, 2, 3, 2, 1], "own_tie_breaker": [*["no"] * 5, "possible"]},
        pools={"cluster_cap": [6, 6], "max_hosts": [1, 1]},
    )
    state = on_two_full_hosts(fleet)
    after = repaired(state)
    assert after.violation() == 0
    assert after.home[5] == after.standby[5] == -1
