"""What becomes of sites that are served today and left out by the plan: the same in every output."""

import dataclasses
import datetime as dt

import pytest

from planner.outputs.markdown import plan_to_markdown
from planner.outputs.plan_sentences import left_in_place_in_words
from planner.outputs.run_words import steps_in_words
from planner.plan import left_in_place, running_on
from planner.rollout import roll_out
from planner.scenarios.horizon.plan_horizon import horizon
from planner.sizing import plan
from tests.arrays import fleet_of


@pytest.fixture(scope="module")
def case():
    """Two hosts today; the plan takes one. S4, on the other, exceeds its budget."""
    fleet = fleet_of(
        [[10.0]] * 4 + [[90.0]],
        digits=1,
        pools={"existing_hosts": [2.0]},
        current={
            "site": [f"S{n}" for n in range(5)],
            "hub": ["H0"] * 5,
            "host": ["H0-01", "H0-01", "H0-01", "H0-02", "H0-02"],
        },
        cluster_cap=4,
    )
    return fleet, plan(fleet)


def test_a_site_that_the_plan_leaves_out_stays_with_its_host(case):
    fleet, made = case
    assert (made.hosts, left_in_place(fleet, made), running_on(fleet, made)) == (1, {"S4": "H0-02"}, ("H0-02",))
    words = left_in_place_in_words(fleet, made)
    assert words == (
        "1 site that the plan leaves out is served today and stays where it is: S4 on H0-02. "
        "So H0-02 keeps running beside the plan: 2 hosts in all."
    )
    assert words in plan_to_markdown(fleet, made).replace("\\", "")


def test_hosts_that_have_no_room_beside_what_stays_are_named():
    """Nothing is wrong with H0-01 today; the plan fills it with S1 to S4 and leaves S0, over its budget, on it."""
    fleet = fleet_of(
        [[90.0]] + [[10.0]] * 4,
        digits=1,
        pools={"existing_hosts": [2.0]},
        current={"site": [f"S{n}" for n in range(5)], "hub": ["H0"] * 5, "host": ["H0-01"] * 4 + ["H0-02"]},
        cluster_cap=4,
    )
    made = plan(fleet)
    words = left_in_place_in_words(fleet, made)
    assert words.endswith(
        "With these sites H0-01 is above its cap. "
        "Some moves to such a host must wait, and the hosts that the moves would empty keep running."
    )
    (conflict,) = [c for c in roll_out(fleet, made, start=dt.date(2027, 3, 1)).conflicts if c.code == "no_room"]
    assert "H0-01" in conflict.where


def test_the_rollout_ends_with_the_hosts_that_the_plan_says(case):
    fleet, made = case
    found = roll_out(fleet, made, start=dt.date(2027, 3, 1))
    retired = {step.host for step in found.steps if step.kind == "host_retire"}
    installed = {step.host for step in found.steps if step.kind == "host_install"}
    running = ({"H0-01", "H0-02"} | installed) - retired
    assert running == {host.host for host in made.host_list} | set(running_on(fleet, made))
    assert "S4" not in {step.site for step in found.steps}
    assert steps_in_words(found) == "1 step: 1 move at 1 site"


def test_the_horizon_says_the_same(case):
    fleet, made = case
    found = horizon(fleet, dt.date(2027, 1, 1), periods=1)
    assert found.steps[0].unserved == tuple(site.site for site in made.unserved)
    (note,) = [note for note in found.notes if note.code == "horizon_left_out"]
    assert "S4 on H0-02" in note.message


def test_nothing_is_said_where_nobody_is_left(case):
    fleet, made = case
    assert left_in_place_in_words(fleet, dataclasses.replace(made, unserved=())) == ""
