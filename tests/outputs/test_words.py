"""A plan in sentences."""

import dataclasses

import pytest

from planner.outputs import how_sure, plan_sentences
from planner.plan import Aim, Assignment, Host, NoHostNeeded, Plan, Uncovered, Unserved


def small(status="optimal", objective="hosts", value=2.0, bound=2.0, unserved=0, **more):
    hosts = (Host("E-1", "E", "E", "8", 1, 64, 64, True), Host("R-1", "R", "R", "8", 1, 64, 64, False))
    assignments = tuple(Assignment(s, h, h[0], 1, 5.0, 40.0, "measured") for s, h in (("a", "E-1"), ("b", "R-1")))
    left = tuple(Unserved(f"u{n}", 1, ()) for n in range(unserved))
    return Plan(status, objective, value, bound, hosts, assignments, left, **more)


@pytest.mark.parametrize(
    ("plan", "sentence"),
    [
        (small(), "2 tie-breaker hosts at 2 hubs serve 2 of 2 sites. Proven: fewer hosts cannot serve these sites."),
        (
            small(unserved=1, bound=1.0),
            "2 tie-breaker hosts at 2 hubs serve 2 of 3 sites; 1 site is not served. "
            "Not proven: these sites need at least 1 host; whether that is enough is open.",
        ),
        (
            small(status="feasible", bound=0.0),
            "2 tie-breaker hosts at 2 hubs serve 2 of 2 sites. "
            "Not proven: the smallest number that these sites need is not known.",
        ),
        (
            small(objective="new_hosts", value=1.0, bound=1.0),
            "2 tie-breaker hosts (1 new) at 2 hubs serve 2 of 2 sites. "
            "Proven: fewer new hosts cannot serve these sites.",
        ),
        (
            small(objective="cost", value=2400.0, bound=2100.5, status="feasible", policy={"currency": "EUR"}),
            "2 tie-breaker hosts at a cost of 2,400.00 EUR a year at 2 hubs serve 2 of 2 sites. "
            "Not proven: these sites need at least 2,100.50 EUR a year; whether that is enough is open.",
        ),
    ],
)
def test_headline_says_how_many_where_for_whom_and_how_good(plan, sentence):
    assert how_sure.headline(plan) == sentence


def test_headline_of_one_host_is_in_the_singular():
    plan = small(value=1.0, bound=1.0)
    plan = plan.replace(host_list=plan.host_list[:1], assignments=plan.assignments[:1])
    assert how_sure.headline(plan).startswith("1 tie-breaker host at 1 hub serves 1 of 1 site.")


def test_headline_of_a_plan_that_serves_nobody():
    plan = Plan("optimal", "hosts", 0, 0, (), (), (Unserved("a", 1, ()), Unserved("b", 1, ())))
    assert how_sure.headline(plan) == "None of 2 sites can be served; no tie-breaker host is planned."


def test_headline_without_any_need():
    plan = Plan("optimal", "hosts", 0, 0, (), (), no_host_needed=(NoHostNeeded("a", "no_clusters"),))
    assert how_sure.headline(plan) == "No site needs a shared tie-breaker host."


def test_site_of_which_some_clusters_are_left_out_does_not_count_as_served():
    plan = small(unserved=0).replace(unserved=(Unserved("b", 1, ()),))
    assert plan_sentences.sites_served(plan) == {"a"}
    assert plan_sentences.sites_wanting(plan) == {"a", "b"}


@pytest.mark.parametrize(("status", "bound"), [("optimal", 2.0), ("feasible", 1.0)])
def test_only_a_plan_without_gap_is_called_proven(status, bound):
    plan = small(status=status, bound=bound)
    assert ("Not proven best" in how_sure.status_in_words(plan)) == (plan.gap > 0)
    assert ("no plan can be better" in how_sure.gap_in_words(plan)) == (plan.gap == 0)


def test_gap_says_how_much_could_still_be_saved():
    assert how_sure.gap_in_words(small(bound=1.0)).startswith("A better plan could save at most 1 host.")


def test_a_plan_without_gap_may_still_gain_on_later_aims():
    later = (Aim("latency", 20.0, 10.0, False),)
    assert (
        how_sure.gap_in_words(small(then=later))
        == "None: the plan is as good as the lower bound, so no plan can be better."
    )


def test_fractional_bound_is_not_rounded_away():
    assert "1.25 hosts" in how_sure.bound_in_words(small(bound=1.25))


@pytest.mark.parametrize(
    ("level", "told"),
    [
        (Aim("moves", 1.0, 1.0, True), "moves the fewest sites: 1 (proven)."),
        (
            Aim("moves", 1200.0, 1100.0, False),
            "moves 1,200 sites (not proven best: no such plan moves fewer than 1,100 sites).",
        ),
        (
            Aim("latency", 1750.38, 1700.04, False),
            "has a total round-trip time of 1,750.4 ms (not proven best: no such plan has less than 1,700.0 ms).",
        ),
        (
            Aim("margin", 5.0, 7.25, False),
            "has a smallest latency margin of 5.0 ms (not proven best: no such plan has more than 7.2 ms).",
        ),
        (Aim("spread", 18.0, 18.0, True), "puts the fewest clusters on the fullest host: 18 (proven)."),
    ],
)
def test_what_became_of_an_aim_among_equals(level, told):
    assert how_sure.later_aims_in_words(small(then=(level,))) == f"Among plans with 2 hosts, this one {told}"


def test_aims_among_equals_are_told_in_their_order_and_not_where_there_are_none():
    both = (Aim("latency", 10.0, 10.0, True), Aim("spread", 1.0, 1.0, True))
    latency, spread = how_sure.later_aims_in_words(small(then=both)).split(" Then ")
    assert "least total round-trip time: 10.0 ms (proven)." in latency
    assert spread == "it puts the fewest clusters on the fullest host: 1 (proven)."
    assert how_sure.later_aims_in_words(small()) == ""


def aim(name, value, *, proven=True):
    return Aim(name, value, value if proven else value + 1, proven)


@pytest.mark.parametrize(
    ("before", "told"),
    [
        (
            (aim("served", 2), aim("covered", 1)),
            "Proven: no plan serves a greater weight of sites, no plan covers a greater weight of sites, "
            "and fewer hosts cannot serve and cover these sites.",
        ),
        (
            (aim("served", 2), aim("covered", 1, proven=False)),
            "Proven: no plan serves a greater weight of sites. "
            "Not proven: whether another plan covers a greater weight of sites.",
        ),
        (
            (aim("served", 2, proven=False), aim("covered", 1)),
            "Not proven: whether another plan serves a greater weight of sites.",
        ),
    ],
)
def test_headline_tells_every_aim_and_calls_nothing_proven_after_an_open_one(before, told):
    left = (Unserved("u", 1, ()), Unserved("v", 1, (), current="E-1"))
    bare = (Uncovered("a", ()),)
    plan = small(before=before, uncovered=bare, policy={"cover": "hub"}).replace(unserved=left)
    assert how_sure.headline(plan) == (
        "2 tie-breaker hosts at 2 hubs serve 2 of 4 sites; 2 sites are not served (1 of them has a host today); "
        f"1 of those served has no standby. {told}"
    )


def test_headline_says_that_all_have_the_standby_that_was_asked_for():
    plan = small(before=(aim("served", 2), aim("covered", 2)), policy={"cover": "zone"})
    assert how_sure.headline(plan) == (
        "2 tie-breaker hosts at 2 hubs serve 2 of 2 sites; each has a standby for the loss of any one hub or failure "
        "zone of hubs. Proven: fewer hosts cannot serve and cover these sites."
    )


def test_standbys_are_claimed_of_sites_that_are_served_only():
    plan = small(unserved=1, before=(aim("served", 2), aim("covered", 2)), policy={"cover": "hub"})
    assert "each of those served has a standby for the loss of any one hub" in how_sure.headline(plan)
    assert "every site that is served has a standby with room for it" in plan_sentences.survives(plan)
    assert "every site has a standby with room for it" in plan_sentences.survives(plan.replace(unserved=()))


def test_an_aim_after_an_open_one_is_no_longer_called_the_best_there_is():
    plan = small(before=(aim("served", 2, proven=False),), then=(aim("latency", 10.0),))
    assert "(the best of all plans that are equally good on the aims before it)" in how_sure.later_aims_in_words(plan)
    assert [one.proven for one in plan.aims] == [False, False, False]
    assert plan.rated().status == "feasible"
    assert how_sure.status_in_words(plan) == "Not proven best: weight served."
    assert "that serves the greatest weight" in how_sure.bound_in_words(plan)
    assert "nothing is left" not in how_sure.gap_in_words(plan)


def test_status_and_completeness_are_told_apart():
    plan = small(unserved=1, before=(aim("served", 2),))
    assert plan.rated().status == "optimal"
    assert not plan.complete
    assert how_sure.status_in_words(plan) == "Proven best, in this order: weight served, number of hosts."
    assert plan_sentences.complete_in_words(plan) == "1 site is not served: see sheet Unserved."


@pytest.mark.parametrize(
    ("kept", "served", "told"),
    [
        (
            True,
            True,
            "Proven: no plan serves a greater weight of sites with a host today, no plan that does the same "
            "serves a greater weight of all sites, and fewer hosts cannot serve these sites.",
        ),
        (
            True,
            False,
            "Proven: no plan serves a greater weight of sites with a host today. "
            "Not proven: whether another plan that does the same serves a greater weight of all sites.",
        ),
        (
            False,
            True,
            "Not proven: whether another plan serves a greater weight of sites with a host today.",
        ),
    ],
)
def test_headline_claims_of_sites_with_a_host_today_first_where_they_come_first(kept, served, told):
    before = (aim("kept_served", 1, proven=kept), aim("served", 2, proven=served))
    plan = small(unserved=1, before=before)
    assert how_sure.headline(plan) == f"2 tie-breaker hosts at 2 hubs serve 2 of 3 sites; 1 site is not served. {told}"


def test_the_first_sentence_says_which_round_trip_times_are_estimates():
    """A plan on estimates alone once read like one on measurements."""
    plan = small()
    on_estimate = dataclasses.replace(plan.assignments[1], evidence="estimated")
    told = how_sure.headline(dataclasses.replace(plan, assignments=(plan.assignments[0], on_estimate)))
    assert told.startswith(
        "2 tie-breaker hosts at 2 hubs serve 2 of 2 sites; "
        "the round-trip time of 1 of those served is only an estimate."
    )
