"""Hosts against latency budgets: each point is the plan of the fleet with its budgets changed."""

import dataclasses

import pytest

import planner
from planner.explain import budget_curve
from planner.explain.budget_curve import SHARES
from planner.outputs.report.page import report_html


@pytest.fixture(scope="module")
def fleet():
    return planner.read_fleet("sample_fleets/twelve_sites.xlsx")


def test_every_point_is_the_plan_of_the_fleet_with_those_budgets(fleet):
    curve = budget_curve(fleet)
    assert [point.share for point in curve] == sorted((1.0, *SHARES))
    for point in curve:
        sites = fleet.sites.assign(latency_budget_ms=fleet.sites["latency_budget_ms"] * point.share)
        policy = fleet.policy.replace(latency_budget_ms=fleet.policy.latency_budget_ms * point.share)
        plan = planner.plan(fleet.replace(sites=sites, policy=policy))
        assert dataclasses.astuple(point) == (
            point.share,
            plan.hosts,
            plan.lower_bound,
            len(plan.unserved),
            plan.proves("hosts"),
            len(plan.uncovered),
        )
        assert point.proven


def test_the_sample_needs_four_hosts_today_and_three_with_a_little_more(fleet):
    """sample_fleets/README.md, by hand: 0.4 ms of 20 would save a host."""
    hosts = {point.share: point.hosts for point in budget_curve(fleet)}
    assert hosts[1.0] == 4
    assert hosts[1.1] == 3


def test_points_say_how_many_have_no_standby_where_cover_is_asked_for(fleet):
    covered = fleet.replace(policy=fleet.policy.replace(cover="hub"))
    curve = {point.share: point for point in budget_curve(covered)}
    assert curve[1.0].uncovered == 8
    page = report_html(covered, planner.plan(covered), curve=tuple(curve.values()))
    assert "Without a standby</th>" in page
    assert "Without a standby</th>" not in report_html(fleet, planner.plan(fleet), curve=budget_curve(fleet))


def test_a_longer_budget_never_leaves_more_unserved(fleet):
    unserved = [point.unserved for point in budget_curve(fleet)]
    assert unserved == sorted(unserved, reverse=True)


def test_without_time_there_is_only_what_was_known(fleet):
    plan = planner.plan(fleet)
    assert [point.share for point in budget_curve(fleet, plan, time_limit=0.0)] == [1.0]
    assert budget_curve(fleet, time_limit=0.0) == ()


def test_a_plan_for_another_objective_is_not_taken_for_the_fewest_hosts(fleet):
    other = planner.plan(fleet).replace(objective="new_hosts", host_list=())
    (today,) = [point for point in budget_curve(fleet, other) if point.share == 1.0]
    assert today.hosts == 4
