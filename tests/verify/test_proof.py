"""The proof of a plan, proven again from the fleet alone; and every way to bend it is caught."""

import copy
import dataclasses
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.plan import Proof
from planner.sizing import plan as make_plan
from planner.verify import verify_proof
from tests.arrays import fleet_of
from tests.how_many import tries

# Four sites reach H0 only, two reach H1 only, one either; hosts of three: two and one, though seven on three would do.
FLEET = fleet_of([[10, 99]] * 4 + [[99, 10]] * 2 + [[10, 10]], cluster_cap=3)
PLAN = make_plan(FLEET)


def with_details(change, plan=PLAN):
    """Return ``plan`` with its proof's data changed in place by ``change``."""
    details = copy.deepcopy(dict(plan.proof.details))
    change(details)
    return plan.replace(proof=dataclasses.replace(plan.proof, details=details))


def test_the_proof_of_a_plan_holds():
    checked = verify_proof(FLEET, PLAN)
    assert PLAN.proof.kind == "counting"
    assert (checked.verdict, checked.violations) == ("proof", ())
    assert "at least 3 hosts" in checked.words


@st.composite
def cases(draw):
    count, width = draw(st.integers(1, 12)), draw(st.integers(1, 4))

    def each(n, strategy):
        return draw(st.lists(strategy, min_size=n, max_size=n))

    rtt = np.array(each(count * width, st.sampled_from([10.0, 51.0]))).reshape(count, width)
    sites = {
        "clusters": each(count, st.integers(1, 3)),
        "own_tie_breaker": each(count, st.sampled_from(["no"] * 5 + ["possible"])),
    }
    pools = {
        "cluster_cap": each(width, st.integers(1, 6)),
        "max_hosts": each(width, st.integers(0, 6)),
        "existing_hosts": each(width, st.integers(0, 2)),
        "host_cost": each(width, st.integers(1, 9)),
    }
    objective = draw(st.sampled_from(["hosts", "new_hosts", "cost"]))
    return fleet_of(rtt, sites=sites, pools=pools, objective=objective, own_tie_breaker_cost=4.0)


@settings(max_examples=tries(8), deadline=None)
@given(fleet=cases())
def test_no_proof_of_a_random_fleet_fails(fleet):
    plan = make_plan(fleet)
    checked = verify_proof(fleet, plan)
    assert checked.verdict != "broken", checked.words
    if plan.proof.kind in ("counting", "search"):
        assert checked.verdict == "proof", checked.words


def test_a_proof_that_takes_a_search_is_searched_again():
    """Lines of the affine plane over three elements as sites, points as hubs: five hosts, the relaxation says three."""
    space = list(itertools.product(range(3), repeat=2))
    lines = sorted(
        {
            tuple(sorted((a, b, tuple((-x - y) % 3 for x, y in zip(a, b, strict=True)))))
            for a, b in itertools.combinations(space, 2)
        }
    )
    fleet = fleet_of([[1.0 if point in line else 99.0 for point in space] for line in lines], cluster_cap=100)
    plan = make_plan(fleet)
    checked = verify_proof(fleet, plan)
    assert (plan.hosts, plan.proof.kind, checked.verdict) == (5, "search", "proof")
    assert (
        "The proof holds: 13 groups of sites, counted again from the fleet, together need at least 5 "
        "hosts, found by verify's own search over numbers of hosts, in 13 steps." in checked.words
    )
    by_other = verify_proof(fleet, plan, most_nodes=1)
    assert by_other.verdict == "proof"
    assert "CP-SAT" in by_other.words


def drop_a_set(details):
    details["sets"].pop(0)


def raise_a_count(details):
    details["sets"][0]["needs"] += 1


def raise_a_demand(details):
    details["sets"][0]["demand"] += 1


def leave_a_pool_out(details):
    wide = next(one for one in details["sets"] if one["pools"])
    wide["pools"].pop(next(iter(wide["pools"])))


def take_in_a_site_that_reaches_more(details):
    details["sets"][0]["sites"][0] = "S06"


def list_a_site_twice(details):
    details["sets"][0]["sites"].append(details["sets"][0]["sites"][0])


def raise_a_multiplier(details):
    details["sets"][0]["multiplier"] = "2"


def make_a_multiplier_negative(details):
    details["sets"][0]["multiplier"] = "-1"


def name_a_site_that_is_not_there(details):
    details["sets"][0]["sites"][0] = "nobody"


def enlarge_a_room(details):
    one = details["sets"][0]
    one["pools"] = {pool: room + 1 for pool, room in one["pools"].items()}


def write_words_for_numbers(details):
    details["sets"][0]["demand"] = "many"


def empty_it(details):
    details["sets"] = []


@pytest.mark.parametrize(
    "change",
    [
        drop_a_set,
        raise_a_count,
        raise_a_demand,
        leave_a_pool_out,
        take_in_a_site_that_reaches_more,
        list_a_site_twice,
        make_a_multiplier_negative,
        name_a_site_that_is_not_there,
        enlarge_a_room,
        write_words_for_numbers,
        empty_it,
    ],
)
def test_a_bent_proof_is_caught(change):
    checked = verify_proof(FLEET, with_details(change))
    assert checked.verdict == "broken", checked.words
    assert checked.violations


def test_a_raised_multiplier_gains_nothing():
    """Hosts of H0 then seem to pay twice over; the exact sum charges it, and the claim is not reached."""
    assert verify_proof(FLEET, with_details(raise_a_multiplier)).verdict == "broken"


@pytest.mark.parametrize("kind", ["counting", "search"])
def test_a_raised_bound_is_caught(kind):
    raised = PLAN.replace(lower_bound=4.0, objective_value=4.0, proof=dataclasses.replace(PLAN.proof, kind=kind))
    checked = verify_proof(FLEET, raised)
    assert checked.verdict == "broken"
    assert "at least 3 hosts" in checked.words


def test_a_bound_on_the_solvers_word_is_called_a_bound():
    claimed = PLAN.replace(lower_bound=4.0, objective_value=4.0, proof=dataclasses.replace(PLAN.proof, kind="solver"))
    checked = verify_proof(FLEET, claimed)
    assert checked.verdict == "bound"
    assert checked.words.startswith("Proven by the solver; verify did not prove it again. The plan claims at least 4")
    short = verify_proof(FLEET, claimed.replace(objective_value=5.0))
    assert short.words.startswith("The plan is not proven best. Its bound is the solver's; ")


def test_a_plan_from_a_workbook_has_no_proof_to_check():
    checked = verify_proof(FLEET, PLAN.replace(proof=Proof()))
    assert checked.verdict == "bound"
    assert "plan.json" in checked.words


def test_the_proof_says_which_sites_its_sets_leave_out():
    """It told of 186 clusters at 163 sites beside a plan of 188 at 165, and did not say who the others are."""
    possible = {"own_tie_breaker": ["no"] * 5 + ["possible"] * 2}
    fleet = FLEET.replace(sites=FLEET.sites.assign(**possible))
    proof = make_plan(fleet).proof
    assert "These groups leave out 2 sites that may use their own tie-breakers." in proof.words
    assert proof.details["left_out"] in proof.words
    assert "leave out" not in PLAN.proof.words


def test_a_site_that_could_spare_itself_may_not_be_counted():
    sites = {"own_tie_breaker": ["no"] * 3 + ["possible"] * 4}
    possible = FLEET.replace(sites=FLEET.sites.assign(**sites))
    assert verify_proof(possible, PLAN).verdict == "broken"


@pytest.mark.parametrize(
    "junk", [None, 7, "x", [], {}, [None], {"sets": None}, {"sets": [3]}, {"sets": [{}]}, float("nan")]
)
def test_rubbish_for_a_proof_is_answered_not_raised(junk):
    checked = verify_proof(FLEET, PLAN.replace(proof=Proof("counting", "", junk)))
    assert checked.verdict in ("broken", "bound")
