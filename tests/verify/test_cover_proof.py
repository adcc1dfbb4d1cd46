"""The proof of a plan with cover, proven again from the fleet alone; and every way to bend it is caught."""

import copy
import dataclasses
import functools
import itertools
from fractions import Fraction
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.sizing import plan as make_plan
from planner.verify import verify_proof
from planner.verify.bounding import branch_and_bound
from planner.verify.host_model import Row, exact, host_model
from planner.verify.second_solver import bound_by_cp_sat
from tests.arrays import fleet_of
from tests.benchmarks import generated
from tests.how_many import MORE, tries


def random_fleet(seed, sites, hubs, cover="hub", **policy):
    """Sites and hubs on a square, every site within reach of two hubs at least."""
    rng = np.random.default_rng(seed)
    site, hub = rng.uniform(0, 100, (sites, 2)), rng.uniform(0, 100, (hubs, 2))
    rtt = np.round(np.hypot(site[:, None, 0] - hub[None, :, 0], site[:, None, 1] - hub[None, :, 1]), 2)
    budget = np.maximum(rng.uniform(15, 60, sites), np.sort(rtt, axis=1)[:, 1])
    pools = {"cluster_cap": rng.integers(4, 9, hubs), "max_hosts": [4] * hubs}
    if cover == "zone":
        pools["zone"] = [("north",) if h < hubs // 2 else () for h in range(hubs)]
    return fleet_of(rtt, sites={"latency_budget_ms": budget}, pools=pools, cover=cover, **policy)


FLEET = random_fleet(2, 40, 6)


@pytest.fixture(scope="module")
def plan():
    """Its plan; not made where this file is only loaded, which each worker does."""
    return make_plan(FLEET)


def changed(change, plan, **proof):
    """Return ``plan`` with its proof's data changed in place by ``change``."""
    details = copy.deepcopy(dict(plan.proof.details))
    change(details)
    return plan.replace(proof=dataclasses.replace(plan.proof, details=details, **proof))


def test_the_proof_of_a_plan_with_cover_holds(plan):
    checked = verify_proof(FLEET, plan)
    assert plan.proof.kind in ("counting", "search")
    assert plan.proof.details["cover_sets"]
    assert (checked.verdict, checked.violations) == ("proof", ())
    assert f"at least {plan.hosts} hosts" in checked.words
    assert "need room" in plan.proof.words


@settings(max_examples=tries(3), deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.integers(0, 10_000),
    st.integers(4, 40 if MORE else 20),
    st.integers(2, 7 if MORE else 4),
    st.sampled_from(["host", "hub", "zone"]),
    st.sampled_from(["hosts", "new_hosts"]),
)
def test_no_proof_of_a_random_fleet_fails(seed, sites, hubs, cover, objective):
    fleet = random_fleet(seed, sites, hubs, cover, objective=objective)
    plan = make_plan(fleet)
    checked = verify_proof(fleet, plan)
    assert checked.verdict != "broken", checked.words
    if plan.proof.kind in ("counting", "search"):
        assert checked.verdict == "proof", checked.words


def with_standbys(details):
    return next(one for one in details["cover_sets"] if one["ready"])


def raise_a_demand(details):
    details["cover_sets"][0]["demand"] += 1


def forget_a_home(details):
    one = next(one for one in details["cover_sets"] if one["kept"] or one["full"])
    (one["kept"] or one["full"]).pop()


def forget_a_home_with_standbys(details):
    one = with_standbys(details)
    one["ready"].pop(next(iter(one["ready"])))


def forget_a_standby(details):
    one = with_standbys(details)
    next(iter(one["ready"].values())).pop()


def count_a_site_twice(details):
    one = details["cover_sets"][0]
    one["sites"].append(one["sites"][0])
    one["demand"] += 1


def name_a_site_that_is_not_there(details):
    details["cover_sets"][0]["sites"][0] = "nobody"


def name_a_pool_that_is_not_there(details):
    details["cover_sets"][0]["full"].append("nowhere")


def count_a_home_twice(details):
    one = with_standbys(details)
    one["full"].append(next(iter(one["ready"])))


def make_a_multiplier_negative(details):
    details["cover_sets"][0]["multiplier"] = "-1"


def write_words_for_numbers(details):
    details["cover_sets"][0]["demand"] = "many"


def write_a_list_for_standbys(details):
    details["cover_sets"][0]["ready"] = []


def put_words_for_a_set(details):
    details["cover_sets"][0] = "all of them"


@pytest.mark.parametrize(
    "change",
    [
        raise_a_demand,
        forget_a_home,
        forget_a_home_with_standbys,
        forget_a_standby,
        count_a_site_twice,
        name_a_site_that_is_not_there,
        name_a_pool_that_is_not_there,
        count_a_home_twice,
        make_a_multiplier_negative,
        write_words_for_numbers,
        write_a_list_for_standbys,
        put_words_for_a_set,
    ],
    ids=lambda change: change.__name__,
)
def test_a_bent_proof_is_broken(plan, change):
    checked = verify_proof(FLEET, changed(change, plan))
    assert (checked.verdict, bool(checked.violations)) == ("broken", True), checked.words


def test_sets_that_force_less_are_no_proof(plan):
    def only_the_smallest(details):
        details["cover_sets"] = [min(details["cover_sets"], key=lambda one: one["demand"])]

    checked = verify_proof(FLEET, changed(only_the_smallest, plan, kind="search"))
    assert checked.verdict != "proof"
    higher = plan.replace(lower_bound=plan.lower_bound + 1.0)
    assert verify_proof(FLEET, higher).verdict != "proof"


def test_a_site_without_standby_is_not_counted_by_standbys(plan):
    """Taking a standby away in the plan takes away what the proof says of it."""
    details = plan.proof.details["cover_sets"]
    site = next(one for one in details if one["ready"])["sites"]
    bare = [
        dataclasses.replace(row, standby=None, standby_rtt_ms=None) if row.site in site else row
        for row in plan.assignments
    ]
    checked = verify_proof(FLEET, plan.replace(assignments=tuple(bare)))
    assert checked.verdict == "broken"
    assert "without standby" in checked.words


def test_sets_with_standbys_prove_nothing_where_nothing_is_covered(plan):
    fleet = FLEET.replace(policy=FLEET.policy.replace(cover="none"))
    assert verify_proof(fleet, plan).verdict == "broken"


def test_a_pool_where_nobody_could_have_a_standby_need_not_be_counted():
    """A third hub in both zones can be home to no site that has a standby."""
    pools = {"cluster_cap": [1, 1, 1], "max_hosts": [2, 2, 1], "zone": [("x",), ("y",), ("x", "y")]}
    fleet = fleet_of([[10.0, 10.0, 10.0]] * 2, pools=pools, cover="zone")
    plan = make_plan(fleet)
    checked = verify_proof(fleet, plan)
    assert (checked.verdict, plan.hosts) == ("proof", 4), checked.words


HOST_FLEET = generated.standing_by(
    "60x5", build=functools.partial(generated.few_hubs, mixed_caps=True, kept=True), loss="host"
)


@pytest.fixture(scope="module")
def host_plan():
    return make_plan(HOST_FLEET)


def of_lost_host(details):
    return next(one for one in details["sets"] if one["lost_pool"])


def raise_what_is_lost(details):
    one = of_lost_host(details)
    one["lost"] += 1


def lose_a_host_for_sites_that_lose_none(details):
    one = of_lost_host(details)
    one["lost"] = 0


def lose_a_host_that_the_sites_cannot_use(details):
    one = of_lost_host(details)
    one["lost_pool"] = next(pool for pool in HOST_FLEET.pool_ids if pool not in one["pools"])


def lose_a_host_nowhere(details):
    of_lost_host(details)["lost_pool"] = "nowhere"


def lose_a_number(details):
    of_lost_host(details)["lost_pool"] = 3


def count_whole_sites_after_a_loss(details):
    of_lost_host(details)["at_least"] = 2


def forget_a_pool_after_a_loss(details):
    one = of_lost_host(details)
    one["pools"].pop(next(pool for pool in one["pools"] if pool != one["lost_pool"]))


def ask_for_more_after_a_loss(details):
    of_lost_host(details)["needs"] += 1


def test_the_proof_against_the_loss_of_a_host_holds(host_plan):
    checked = verify_proof(HOST_FLEET, host_plan)
    assert host_plan.proof.kind == "search"
    assert (checked.verdict, checked.violations) == ("proof", ())
    assert f"at least {host_plan.hosts} hosts" in checked.words
    assert "is lost" in host_plan.proof.words


@pytest.mark.parametrize(
    "change",
    [
        raise_what_is_lost,
        lose_a_host_for_sites_that_lose_none,
        lose_a_host_that_the_sites_cannot_use,
        lose_a_host_nowhere,
        lose_a_number,
        count_whole_sites_after_a_loss,
        forget_a_pool_after_a_loss,
        ask_for_more_after_a_loss,
    ],
    ids=lambda change: change.__name__,
)
def test_a_bent_proof_against_the_loss_of_a_host_is_broken(host_plan, change):
    checked = verify_proof(HOST_FLEET, changed(change, host_plan))
    assert (checked.verdict, bool(checked.violations)) == ("broken", True), checked.words


def test_sets_that_lose_a_host_prove_nothing_without_standbys_or_cover(host_plan):
    counted = set(of_lost_host(host_plan.proof.details)["sites"])
    bare = tuple(
        dataclasses.replace(row, standby=None, standby_rtt_ms=None) if row.site in counted else row
        for row in host_plan.assignments
    )
    checked = verify_proof(HOST_FLEET, host_plan.replace(assignments=bare))
    assert (checked.verdict, "without standby" in checked.words) == ("broken", True)
    uncovered = HOST_FLEET.replace(policy=HOST_FLEET.policy.replace(cover="none"))
    assert verify_proof(uncovered, host_plan).verdict == "broken"


def test_a_search_over_counts_knows_that_the_first_host_counts_less():
    """Both searches of `verify` find the bound that every combination of counts has."""
    model = host_model(
        [SimpleNamespace(pool=pool, max_hosts=3, existing_hosts=0) for pool in "abc"],
        "hosts",
        [Row({"a": 5, "b": 5, "c": 4}, 10, {"a": 3}), Row({"a": 1}, 1), Row({"b": 2, "c": 1}, 2)],
    )
    every = [exact(list(counts)) for counts in itertools.product(range(4), repeat=3)]
    best = min(model.value(counts) for counts in every if model.met(counts).all())
    without = dataclasses.replace(model, less=np.zeros_like(model.less))
    assert best > min(without.value(counts) for counts in every if without.met(counts).all())
    assert branch_and_bound(model, Fraction(9)).bound == bound_by_cp_sat(model) == best
    for y in itertools.product((Fraction(0), Fraction(1, 4), Fraction(1, 3)), repeat=3):
        assert model.added_up(y) <= best
