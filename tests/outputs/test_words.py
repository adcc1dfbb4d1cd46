"""A plan in sentences."""

import pytest

from planner.outputs import words
from planner.plan import Assignment, Host, LaterAim, NoHostNeeded, Plan, Unserved


def small(status="optimal", objective="hosts", value=2.0, bound=2.0, unserved=0, **more):
    hosts = (Host("E-1", "E", "E", "8", 1, 64, 64, True), Host("R-1", "R", "R", "8", 1, 64, 64, False))
    assignments = tuple(Assignment(s, h, h[0], 1, 5.0, 40.0, "measured") for s, h in (("a", "E-1"), ("b", "R-1")))
    left = tuple(Unserved(f"u{n}", 1, ()) for n in range(unserved))
    return Plan(status, objective, value, bound, hosts, assignments, left, **more)


@pytest.mark.parametrize(
    ("plan", "sentence"),
    [
        (small(), "2 tie-breaker hosts at 2 hubs serve 2 of 2 sites; no plan that serves the same sites has fewer."),
        (
            small(status="infeasible", unserved=1, bound=1.0),
            "2 tie-breaker hosts at 2 hubs serve 2 of 3 sites; the same sites need at least 1 host.",
        ),
        (
            small(status="feasible", bound=0.0),
            "2 tie-breaker hosts at 2 hubs serve 2 of 2 sites; how little would do is not known.",
        ),
        (
            small(objective="new_hosts", value=1.0, bound=1.0),
            "2 tie-breaker hosts (1 new) at 2 hubs serve 2 of 2 sites; no plan that serves the same sites adds fewer.",
        ),
        (
            small(objective="cost", value=2400.0, bound=2100.5, status="feasible", policy={"currency": "EUR"}),
            "2 tie-breaker hosts at a cost of 2,400.00 EUR at 2 hubs serve 2 of 2 sites; "
            "the same sites need at least 2,100.50 EUR.",
        ),
    ],
)
def test_headline_says_how_many_where_for_whom_and_how_good(plan, sentence):
    assert words.headline(plan) == sentence


def test_headline_of_one_host_is_in_the_singular():
    plan = small(value=1.0, bound=1.0)
    plan = plan.replace(host_list=plan.host_list[:1], assignments=plan.assignments[:1])
    assert words.headline(plan).startswith("1 tie-breaker host at 1 hub serves 1 of 1 site;")


def test_headline_of_a_plan_that_serves_nobody():
    plan = Plan("infeasible", "hosts", 0, 0, (), (), (Unserved("a", 1, ()), Unserved("b", 1, ())))
    assert words.headline(plan) == "None of 2 sites can be served; no tie-breaker host is planned."


def test_headline_without_any_need():
    plan = Plan("optimal", "hosts", 0, 0, (), (), no_host_needed=(NoHostNeeded("a", "no_clusters"),))
    assert words.headline(plan) == "No site needs a shared tie-breaker host."


def test_site_of_which_some_clusters_are_left_out_does_not_count_as_served():
    plan = small(unserved=0).replace(unserved=(Unserved("b", 1, ()),))
    assert words.sites_served(plan) == {"a"}
    assert words.sites_wanting(plan) == {"a", "b"}


@pytest.mark.parametrize(("status", "bound"), [("optimal", 2.0), ("feasible", 1.0), ("infeasible", 1.0)])
def test_only_a_plan_without_gap_is_called_proven(status, bound):
    plan = small(status=status, bound=bound)
    assert ("not proven best" in words.status_in_words(plan)) == (plan.gap > 0)
    assert ("nothing is left" in words.gap_in_words(plan)) == (plan.gap == 0)


def test_gap_says_how_much_could_still_be_saved():
    assert words.gap_in_words(small(bound=1.0)).startswith("At most 1 host could still be saved")


def test_fractional_bound_is_not_rounded_away():
    assert "1.25 hosts" in words.bound_in_words(small(bound=1.25))


@pytest.mark.parametrize(
    ("level", "told"),
    [
        (LaterAim("moves", 1.0, 1.0, True), "1 move (the best there is)"),
        (LaterAim("moves", 1200.0, 1100.0, False), "1,200 moves (at least 1,100 in any)"),
        (LaterAim("latency", 1750.38, 1700.04, False), "a total RTT of 1,750.4 ms (at least 1,700.0 ms in any)"),
        (LaterAim("margin", 5.0, 7.25, False), "a worst margin of 5.0 ms (at most 7.2 ms in any)"),
        (LaterAim("spread", 18.0, 18.0, True), "18 clusters on the fullest host (the best there is)"),
    ],
)
def test_what_became_of_an_aim_among_equals(level, told):
    assert words.later_aims_in_words(small(then=(level,))) == f"Among such plans, in this order: {told}."


def test_aims_among_equals_are_told_in_their_order_and_not_where_there_are_none():
    both = (LaterAim("latency", 10.0, 10.0, True), LaterAim("spread", 1.0, 1.0, True))
    latency, spread = words.later_aims_in_words(small(then=both)).split("; ")
    assert "total RTT of 10.0 ms" in latency
    assert spread.startswith("1 cluster on")
    assert words.later_aims_in_words(small()) == ""
