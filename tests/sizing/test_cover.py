"""Cover: against a straight model of all flows, and what must hold whatever the fleet."""

from collections import Counter

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from planner.counted_words import more_groups
from planner.resilience import drill
from planner.sizing import plan
from tests.how_many import MORE, tries


def plain_fleet(make, seed: int, count: int, width: int, cover: str, *, reach=20.0, cap=16, most=6, **policy):
    """Sites and hubs on a square; every site reaches its two nearest hubs at least. One cluster a site."""
    rng = np.random.default_rng(seed)
    sites, hubs = rng.uniform(0, 1000, (count, 2)), rng.uniform(0, 1000, (width, 2))
    rtt = 4 + 0.05 * np.hypot(sites[:, None, 0] - hubs[None, :, 0], sites[:, None, 1] - hubs[None, :, 1])
    rtt = np.round(rtt * rng.uniform(0.9, 1.3, rtt.shape), 2)
    budget = np.maximum(reach * rng.uniform(0.7, 1.4, count), np.sort(rtt, axis=1)[:, 1])
    pools = {"cluster_cap": [cap] * width, "max_hosts": [most] * width}
    return make.fleet(rtt, sites={"latency_budget_ms": budget}, pools=pools, cover=cover, **policy)


def straight(fleet) -> float:
    """Return the fewest hosts that survive the loss of a hub: whole flows from home to standby, by HiGHS in SciPy.

    Sites of the same reach are one row, all homes and standbys are columns, and every loss and standby has a row.
    """
    rtt = np.full((len(fleet.site_ids), len(fleet.hub_ids)), np.inf)
    rtt[fleet.latency["site"].cat.codes, fleet.latency["hub"].cat.codes] = fleet.latency["rtt_ms"]
    reach, size = np.unique(rtt <= fleet.budgets_ms[:, None], axis=0, return_counts=True)
    width, cap = reach.shape[1], int(fleet.cluster_caps[0])
    flows = [(k, p, q) for k in range(len(reach)) for p in range(width) for q in range(width)]
    flows = [(k, p, q) for k, p, q in flows if p != q and reach[k, p] and reach[k, q]]
    kind, home, standby = np.array(flows).T
    count, at = len(flows), np.arange(len(flows))
    served = sp.csr_array((np.ones(count), (kind, at)), shape=(len(reach), count + width))
    filled = sp.csr_array((np.ones(count), (home, at)), shape=(width, count + width))
    running = sp.hstack((sp.csr_array((width, count)), cap * sp.eye_array(width)))
    after = [
        sp.csr_array(
            ((home[sent] == home[sent]).astype(float), (np.zeros(sent.sum(), int), at[sent])), (1, count + width)
        )
        + (filled - running)[[q]]
        for p in range(width)
        for q in range(width)
        if p != q and (sent := (home == p) & (standby == q)).any()
    ]
    answer = milp(
        np.concatenate((np.zeros(count), np.ones(width))),
        constraints=[
            LinearConstraint(served, size, size),
            LinearConstraint(filled - running, -np.inf, 0),
            LinearConstraint(sp.vstack(after), -np.inf, 0),
        ],
        bounds=Bounds(0, np.concatenate((np.full(count, size.max()), fleet.max_hosts))),
        integrality=np.ones(count + width),
        options={"time_limit": 300},
    )
    assert answer.status == 0, answer.message
    return round(answer.fun)


@pytest.mark.parametrize("seed", range(20 if MORE else 2))
def test_as_few_hosts_as_a_straight_model_of_all_flows(make, seed):
    rng = np.random.default_rng(seed)
    count, width = int(rng.integers(60, 301)), int(rng.integers(4, 13))
    if not MORE:
        count, width = count // 3, max(4, width // 2)
    fleet = plain_fleet(make, seed, count, width, "hub", reach=16.0, most=20)
    result = plan(fleet)
    make.sound(fleet, result)
    assert (result.status, result.uncovered) == ("optimal", ())
    assert result.hosts == straight(fleet)


@pytest.mark.parametrize("seed", range(2))
def test_more_cover_never_takes_fewer_hosts_and_every_drill_passes(make, seed):
    taken = []
    for cover in ("none", "host", "hub", "zone"):
        fleet = plain_fleet(make, seed, 60 if MORE else 24, 6, cover)
        zones = [("north",) if h < 2 else ("south",) if h == 5 else () for h in range(6)]
        fleet = fleet.replace(pools=fleet.pools.assign(zone=zones))
        result = plan(fleet)
        make.sound(fleet, result)
        taken.append((len(result.uncovered), result.hosts))
        if cover != "none":
            assert not drill(fleet, result).broken
    covered_by_all = [hosts for bare, hosts in taken if bare == taken[-1][0] or bare == 0]
    assert covered_by_all == sorted(covered_by_all)


def test_site_with_one_hub_is_named_and_the_rest_is_covered(make):
    rtt = [[10.0, 10.0, 60.0], [10.0, 10.0, 60.0], [60.0, 60.0, 10.0]]
    result = plan(make.fleet(rtt, cover="hub"))
    make.sound(make.fleet(rtt, cover="hub"), result)
    ((site, (reason,)),) = [(u.site, u.reasons) for u in result.uncovered]
    assert (site, reason.code, result.unserved) == ("S02", "cover_place", ())
    assert "H2" in reason.detail
    assert [a.standby is not None for a in result.assignments] == [True, True, False]
    assert result.status == "optimal"


def test_limit_itself_is_allowed(make):
    """Two hosts of cap 2 at two hubs carry two sites, each the other's standby; with three sites there is no room."""
    two = plan(make.fleet([[5.0, 5.0]] * 2, cover="hub", pools={"cluster_cap": [2, 2], "max_hosts": [1, 1]}))
    assert (two.hosts, two.uncovered) == (2, ())
    three = plan(make.fleet([[5.0, 5.0]] * 3, cover="hub", pools={"cluster_cap": [2, 2], "max_hosts": [1, 1]}))
    assert (three.hosts, len(three.uncovered), three.unserved) == (2, 2, ())
    assert {u.reasons[0].code for u in three.uncovered} == {"cover_capacity"}


def test_reserve_stays_free_after_a_loss_and_the_blast_radius_does_not_count_then(make):
    """Cap 10: a radius of 5 for every day leaves 10 for a loss; a reserve of half leaves 5 for a loss too."""
    pools = {"cluster_cap": [10, 10], "max_hosts": [2, 2]}
    assert plan(make.fleet([[5.0, 5.0]] * 10, cover="hub", pools=pools, max_blast_radius=5)).hosts == 2
    assert plan(make.fleet([[5.0, 5.0]] * 10, cover="hub", pools=pools, reserve_percent=50)).hosts == 4


def test_second_host_of_a_pool_may_stand_by_against_the_loss_of_a_host(make):
    result = plan(make.fleet([[5.0]] * 4, cover="host", pools={"cluster_cap": [4], "max_hosts": [2]}))
    assert (result.hosts, result.uncovered) == (2, ())
    assert all(a.standby not in (None, a.host) for a in result.assignments)
    assert len(plan(make.fleet([[5.0]] * 4, cover="hub", pools={"cluster_cap": [4], "max_hosts": [2]})).uncovered) == 4


def test_site_that_stays_where_it_is_today_stays_under_cover_too(make):
    today = {"site": ["S00", "S01"], "hub": ["H1", "H0"], "host": ["H1-01", "H0-01"]}
    fleet = make.fleet([[5.0, 9.0], [9.0, 5.0]], cover="hub", current=today)
    assert [a.action for a in plan(fleet).assignments] == ["keep", "keep"]


def test_standby_is_told_with_its_round_trip_time(make):
    (row,) = plan(make.fleet([[5.0, 9.0]], cover="hub")).assignments
    assert (row.host, row.standby, row.standby_rtt_ms) == ("H0-01", "H1-01", 9.0)


@settings(max_examples=tries(2), deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10_000), st.sampled_from(["host", "hub"]))
def test_order_of_rows_does_not_matter(make, seed, cover):
    fleet = plain_fleet(make, seed, *((25, 4) if MORE else (10, 3)), cover, cap=8 if MORE else 4)
    order = np.random.default_rng(seed).permutation(len(fleet.sites))
    shuffled = fleet.replace(sites=fleet.sites.iloc[order].reset_index(drop=True))
    assert plan(shuffled).assignments == plan(fleet).assignments


def test_time_that_ends_at_once_still_gives_a_plan(make):
    fleet = plain_fleet(make, 1, 60, 5, "hub")
    result = plan(fleet, time_limit=0.0)
    make.sound(fleet, result)
    assert result.assignments
    assert result.status != "optimal"


@pytest.mark.parametrize("objective", ["hosts", "new_hosts", "cost"])
def test_a_fleet_of_which_no_site_is_left_has_a_plan_without_hosts(make, objective):
    """No hub may have a host: how far host counts can be from those of today was 0, and a divisor."""
    pools = {"max_hosts": [0, 0], "host_cost": [5.0, 5.0]}
    result = plan(make.fleet([[5.0, 9.0]] * 2, pools=pools, cover="hub", objective=objective))
    assert (result.status, result.hosts, len(result.unserved)) == ("optimal", 0, 2)


@pytest.mark.parametrize(("then", "largest"), [("latency spread", 5), ("spread latency", 4)])
def test_spread_evens_loads_as_far_as_the_aims_before_it_allow(make, then, largest):
    """Twelve sites, all of which may use three hubs; five are nearest to the first, to the others all are the same."""
    rtt = [[5.0, 9.0, 9.0]] * 5 + [[9.0, 5.0, 5.0]] * 7
    fleet = make.fleet(rtt, cover="hub", then=then, pools={"cluster_cap": [6] * 3, "max_hosts": [1] * 3})
    result = plan(fleet)
    make.sound(fleet, result)
    assert result.uncovered == ()
    assert max(Counter(row.host for row in result.assignments).values()) == largest
    assert sum(row.rtt_ms for row in result.assignments) == (60 if largest == 5 else 64)


def test_the_claim_is_about_plans_that_cover_as_much(make):
    """Three sites, two hubs of one host for two: all can be served by both, and one of them covered by neither."""
    fleet = make.fleet([[10.0, 10.0]] * 3, pools={"cluster_cap": [2, 2], "max_hosts": [1, 1]}, cover="hub")
    result = plan(fleet)
    assert result.proof.words.startswith("No plan that serves and covers the greatest weight needs fewer than 2 hosts.")
    alone = plan(fleet.replace(policy=fleet.policy.replace(cover="none")))
    assert alone.proof.words.startswith("No plan that serves the same sites needs fewer than 2 hosts.")


def test_one_set_and_several_sets_are_told_in_good_grammar():
    assert more_groups(1) == "plan.json lists 1 more such group."
    assert more_groups(2) == "plan.json lists 2 more such groups."


@pytest.mark.parametrize("other", [False, True])
@pytest.mark.parametrize(
    "policy",
    [{}, {"objective": "new_hosts"}, *({"objective": "cost", "own_tie_breaker_cost": price} for price in (1.0, 50.0))],
)
def test_a_site_that_nothing_else_can_cover_uses_its_own_tie_breaker(make, policy, other):
    """One hub, so that its loss leaves no standby: S00 is covered by its own tie-breaker, whatever that costs."""
    sites = {"own_tie_breaker": ["possible", "no"][: 1 + other]}
    result = plan(make.fleet([[5.0]] * (1 + other), cover="hub", sites=sites, host_cost=10.0, **policy))
    assert [spared.site for spared in result.no_host_needed] == ["S00"]
    assert [bare.site for bare in result.uncovered] == ["S01"][:other]
    assert (result.status, result.hosts) == ("optimal", int(other))
