"""The number of waves, and its bound, against a search of all ways from today to the plan, detours chosen anew."""

import datetime as dt
import random

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from planner.rollout import roll_out
from planner.verify import verify_rollout
from tests.how_many import MORE, tries

from .cases import moves_case
from .test_order import full_moves

START = dt.date(2027, 3, 1)


def fewest_waves(caps, now, then, size, may_use, sites_per_wave, sites_per_host, detours):
    """Search wave by wave: all states that one wave can lead to, within its limits on sites, and from there on.

    At most so many ``detours`` are made: a rollout has as few as can be, before it has few waves.
    """
    sites, none = list(size), len(size)
    goal = tuple(then[s] for s in sites)
    layer = seen = {(tuple(now[s] for s in sites), 0)}
    waves = 0
    while goal not in {state for state, _ in layer}:
        reached = set()
        for begin in layer:
            inside, heap = {(begin, frozenset())}, [(begin, frozenset())]
            while heap:
                (state, made), used = heap.pop()
                for i, site in enumerate(sites):
                    for host in caps:
                        load = sum(size[s] for s, on in zip(sites, state, strict=True) if on == host)
                        detour = host != then[site]
                        barred = detour and (made == detours or not may_use(site, host))
                        if host == state[i] or barred or load + size[site] > caps[host]:
                            continue
                        touched = used | {(site, state[i]), (site, host)}
                        at = [sum(place == h for _, place in touched) for h in (state[i], host)]
                        if max(at) > (sites_per_host or none) or len({s for s, _ in touched}) > (
                            sites_per_wave or none
                        ):
                            continue
                        following = (((*state[:i], host, *state[i + 1 :]), made + detour), touched)
                        if following not in inside:
                            inside.add(following)
                            heap.append(following)
            reached |= {state for state, _ in inside}
        if reached <= seen:
            return None
        layer, seen, waves = reached - seen, seen | reached, waves + 1
    return waves


def detours_of(rollout):
    return sum(step.kind == "detour" for step in rollout.steps)


def tight_case(seed):
    """A case of `full_moves` with limits on waves, as fleet and plan and as plain data; None for none."""
    moves, rng = full_moves(seed), random.Random(seed)
    if moves is None or len(moves[3]) > 5:
        return None
    limits = {"sites_per_wave": rng.choice([None, 1, 2, 3]), "sites_per_host": rng.choice([None, 1, 1, 2])}
    caps, now, then, size, may_use = moves
    if set(then.values()) != set(caps):
        return None  # a host that retires takes a wave of its own
    return moves_case(caps, now, then, size, may_use, **limits), moves, limits


@settings(max_examples=tries(6), deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10**9))
@example(18863)  # an order with a detour fewer
def test_no_way_has_fewer_waves_than_the_bound(seed):
    case = tight_case(seed)
    assume(case is not None)
    (fleet, plan), moves, limits = case
    found = roll_out(fleet, plan, start=START, time_limit=1)
    assert verify_rollout(fleet, plan, found) == ()
    if not found.conflicts:
        truth = fewest_waves(*moves, **limits, detours=detours_of(found))
        assert found.lower_bound_waves <= truth <= len(found.waves)


@pytest.mark.parametrize("batch", range(4 if MORE else 1))
def test_small_rollouts_take_the_fewest_waves(batch):
    compared = 0
    for seed in range(60 * batch, 60 * batch + 60):
        case = tight_case(seed)
        if case is None:
            continue
        (fleet, plan), moves, limits = case
        found = roll_out(fleet, plan, start=START, time_limit=2)
        if not found.conflicts:
            assert len(found.waves) == fewest_waves(*moves, **limits, detours=detours_of(found)), seed
            compared += 1
    assert compared >= 5


def test_another_detour_is_taken_where_it_saves_a_wave():
    """S1 may wait on H0 or on H2; on H2 it is a wave less, if S3 goes there later. It used to take 5 waves."""
    size = {"S0": 3, "S1": 1, "S2": 2, "S3": 1, "S4": 1}
    now = {"S0": "H1", "S1": "H3", "S2": "H3", "S3": "H0", "S4": "H0"}
    then = {"S0": "H3", "S1": "H1", "S2": "H1", "S3": "H2", "S4": "H0"}
    barred = {("S0", "H1"), ("S2", "H2"), ("S3", "H0")}
    moves = ({"H0": 2, "H1": 3, "H2": 1, "H3": 5}, now, then, size, lambda site, hub: (site, hub) not in barred)
    limits = {"sites_per_wave": 3, "sites_per_host": 1}
    fleet, plan = moves_case(*moves, **limits)
    found = roll_out(fleet, plan, start=START)
    assert len(found.waves) == fewest_waves(*moves, **limits, detours=1) == 4
    assert verify_rollout(fleet, plan, found) == ()
