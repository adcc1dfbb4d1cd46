"""Objective, bound, status and input."""

import math
from dataclasses import replace

import pytest

from planner.fleet import Source
from planner.plan import Aim, Reason, Unserved


def priced(desk):
    """The plan for the objective cost: hosts 100 + 120, circuits 5 + 0 + 7, own tie-breaker of F 50."""
    return desk.policy(objective="cost").of_plan(
        objective="cost", objective_value=282, lower_bound=280, status="feasible"
    )


def served(desk, value, *, bound=None, proven=True):
    return desk.of_plan(before=(Aim("served", value, value if bound is None else bound, proven),))


def new(desk):
    return desk.policy(objective="new_hosts").of_plan(objective="new_hosts", objective_value=1, lower_bound=1)


@pytest.mark.parametrize("change", [priced, new])
def test_each_objective_adds_up(desk, change) -> None:
    assert change(desk).everything() == ()


@pytest.mark.parametrize(
    ("change", "code", "figures"),
    [
        (
            lambda d: d.of_plan(objective_value=1, lower_bound=1),
            "objective",
            "the plan says 1 for hosts; added up again, it is 2",
        ),
        (
            lambda d: new(d).of_plan(objective_value=2, lower_bound=0, status="feasible"),
            "objective",
            "the plan says 2 for new_hosts; added up again, it is 1",
        ),
        (
            lambda d: new(d).pool("N", existing_hosts=0).host("N-01", existing=False),
            "objective",
            "the plan says 1 for new_hosts; added up again, it is 2",
        ),
        (
            lambda d: priced(d).of_plan(objective_value=232, lower_bound=230),
            "objective",
            "the plan says 232 for cost; added up again, it is 282",
        ),
        (
            lambda d: priced(d).pool("S", host_cost=121),
            "objective",
            "the plan says 282 for cost; added up again, it is 283",
        ),
        (
            lambda d: priced(d).pair("A", "N", pair_cost=6),
            "objective",
            "the plan says 282 for cost; added up again, it is 283",
        ),
        (
            lambda d: priced(d).site("F", own_tie_breaker_cost=51),
            "objective",
            "the plan says 282 for cost; added up again, it is 283",
        ),
        (
            lambda d: priced(d).pool("S", host_cost=None),
            "objective",
            "the objective 'cost' cannot be added up: fill in host_cost of pool S",
        ),
        (
            lambda d: priced(d).policy(own_tie_breaker_cost=None),
            "objective",
            "the objective 'cost' cannot be added up: fill in own_tie_breaker_cost of site F",
        ),
        (
            lambda d: d.of_plan(objective="beauty"),
            "objective",
            "the objective 'beauty' cannot be added up: known objectives are hosts, new_hosts and cost",
        ),
        (
            lambda d: d.of_plan(lower_bound=2.1),
            "bound",
            "the plan says that any plan needs at least 2.1, but it needs only 2 itself",
        ),
        (
            lambda d: d.of_plan(lower_bound=math.nan, status="feasible"),
            "bound",
            "the plan says that any plan needs at least nan, but it needs only 2 itself",
        ),
        (lambda d: d.of_plan(lower_bound=1), "status", "its status is optimal, but hosts is 2 and the lower bound 1"),
        (
            lambda d: priced(d).of_plan(lower_bound=281.99, status="optimal"),
            "status",
            "its status is optimal, but cost is 282 and the lower bound 281.99",
        ),
        (
            lambda d: d.of_plan(status="infeasible"),
            "status",
            "its status is 'infeasible'; it must be optimal or feasible",
        ),
        (lambda d: served(d, 4, proven=False), "status", "its status is optimal, but its aim served is not proven"),
        (lambda d: served(d, 5, bound=4), "aim", "the plan says that the weight served is 5; its sites add up to 4"),
        (
            lambda d: served(d, 4, bound=3),
            "aim",
            "the weight served is 4, but the plan says that no plan has more than 3",
        ),
        (
            lambda d: served(d, 4, bound=5),
            "aim",
            "the plan calls the weight served proven, but it is 4, and the plan's own upper bound is 5",
        ),
        (
            lambda d: d.of_plan(before=(Aim("covered", 6, 6, True),)),
            "aim",
            "the plan lists 'covered' as an aim before the objective. Known aims there: served",
        ),
        (
            lambda d: d.policy(keep_served=True).of_plan(before=(Aim("kept_served", 1, 2, True),)),
            "aim",
            "the plan says that the weight kept_served is 1; its sites add up to 2",
        ),
    ],
)
def test_a_total_that_does_not_add_up_is_found(desk, change, code, figures) -> None:
    violations = [v for v in change(desk).everything() if v.severity == "violation"]
    assert [(v.code, v.where) for v in violations] == [(code, "plan")]
    assert figures in violations[0].message


def test_the_bound_is_held_against_the_objective_added_up_and_not_as_claimed(desk) -> None:
    assert desk.of_plan(objective_value=3, lower_bound=3).found() == [("objective", "plan"), ("bound", "plan")]


@pytest.mark.parametrize("status", ["optimal", "feasible"])
def test_status_is_about_the_proof_whether_everybody_is_served_or_not(desk, status) -> None:
    left_out = (Unserved("C", 3, (Reason("capacity", "full"),)),)
    desk.without_row("C").host("S-01", clusters=0).of_plan(unserved=left_out, status=status)
    assert desk.found() == []


@pytest.mark.parametrize(
    "change",
    [
        lambda d: priced(d).of_plan(objective_value=282.0001),
        lambda d: priced(d).of_plan(objective_value=282, lower_bound=282.0001, status="optimal"),
        lambda d: priced(d).of_plan(lower_bound=281.9999, status="optimal"),
        lambda d: d.of_plan(lower_bound=1, status="feasible"),
        lambda d: new(d).pool("N", existing_hosts=2),  # an existing host that does not run saves nothing
        lambda d: priced(d).site("D", own_tie_breaker_cost=9),  # built in, not chosen by the plan
        lambda d: d.of_plan(sources=()),
    ],
)
def test_roundings_and_gaps_that_are_admitted_are_accepted(desk, change) -> None:
    assert change(desk).everything() == ()


def test_a_circuit_that_carries_two_parts_of_a_site_is_paid_once(desk) -> None:
    hosts = (*desk.plan.host_list, replace(desk.plan.host_list[1], host="S-02", clusters=1))
    part = replace(desk.plan.assignments[2], host="S-02", clusters=1)
    priced(desk).policy(split_sites=True).row("C", clusters=2)
    desk.of_plan(host_list=hosts, assignments=(*desk.plan.assignments, part), objective_value=402)
    assert desk.host("S-01", clusters=2).everything() == ()


@pytest.mark.parametrize(
    ("change", "figures"),
    [
        (
            lambda d: d.of_plan(sources=(Source("old.xlsx", "bb"),)),
            "plan: it was made from other input files than this fleet (old.xlsx)",
        ),
        (lambda d: d.policy(objective="new_hosts"), "plan: its objective is hosts; the fleet's policy says new_hosts"),
    ],
)
def test_a_plan_from_other_input_gets_a_note_and_does_not_fail(desk, change, figures) -> None:
    (note,) = change(desk).everything()
    assert (note.code, note.severity) == ("other_input", "note")
    assert figures in str(note)


def test_a_round_trip_measured_anew_is_a_note_and_its_aim_is_that_of_the_plan(desk) -> None:
    """A plan could not be rolled out any more once the teams had measured after their first changes."""
    desk.of_plan(sources=(Source("old.xlsx", "bb"),), then=(Aim("latency", 62.34, 62.34, True),))
    desk.pair("C", "S", rtt_ms=15.0)
    notes = {v.code: v.message for v in desk.everything()}
    assert desk.found() == []
    told = "1 site with another measurement than in the plan: C to S 15 ms (12.3 ms in the plan)"
    assert notes["measured_anew"] == told
    desk.pair("C", "S", rtt_ms=40.1)
    assert [(v.code, v.message) for v in desk.everything() if v.severity == "violation"] == [
        ("latency", "its RTT to hub S is 40.1 ms; its budget is 40 ms")
    ]


def test_a_wrong_total_is_found_where_times_were_measured_anew_too(desk) -> None:
    desk.of_plan(sources=(Source("old.xlsx", "bb"),), then=(Aim("latency", 64.7, 64.7, True),))
    assert desk.pair("C", "S", rtt_ms=15.0).found() == [("aim", "plan")]


def test_a_time_that_differs_from_the_files_of_the_plan_itself_stays_a_violation(desk) -> None:
    assert desk.pair("C", "S", rtt_ms=15.0).found() == [("claim", "site C")]
