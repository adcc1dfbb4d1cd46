"""Unserved sites by what would help them."""

import pytest

import planner
from planner.outputs.causes import remedy_of_many, unserved_by_cause
from planner.plan import Reason, Unserved


@pytest.fixture(scope="module")
def twelve_sites_plan():
    return planner.plan(planner.read_fleet("sample_fleets/twelve_sites.xlsx"), time_limit=5)


@pytest.fixture(scope="module")
def fleets_with_unserved():
    return [planner.plan(planner.read_fleet("sample_fleets/county_chain.xlsx"), time_limit=1)]


def unserved(site, remedy):
    return Unserved(site, 2, (Reason("release_floor", "release 7.9 is older than the floor 8.4"),), remedy)


def test_sites_of_one_remedy_are_one_line_the_most_first(twelve_sites_plan):
    told = [
        unserved(f"S{k}", f"To serve S{k} from pool GOR: upgrade the site from release 7.{k} to 8.4.")
        for k in range(28)
    ]
    other = unserved("X", "To serve X from pool GOR: measure the round-trip time to hub GOR.")
    plan = twelve_sites_plan.replace(unserved=(other, *told))
    first, second = unserved_by_cause(plan)
    assert first.words == "28 sites: upgrade them to release 8.4 or newer (S0, S1, S2 and 25 more)"
    assert (first.clusters, first.codes) == (56, ("release_floor",))
    assert second.words == "1 site: measure its round-trip times (X)"


def test_every_remedy_of_the_samples_has_words_for_many(fleets_with_unserved):
    for plan in fleets_with_unserved:
        for site in plan.unserved:
            words = remedy_of_many(site.remedy)
            assert site.site not in words
            assert not words.startswith("To serve")


def test_several_steps_are_told_once_each():
    remedy = "To serve A from pool P: raise its latency budget by 3 ms, from 4 to 7 ms; "
    remedy += "measure the round-trip time to hub H."
    assert remedy_of_many(remedy) == "raise their latency budget, or add a nearer hub; measure their round-trip times"
