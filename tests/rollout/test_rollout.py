"""From fleet and plan to waves: every random rollout is replayed, and single traits are looked at on small fleets."""

import dataclasses
import datetime as dt
import json
import re

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from planner.errors import InputError
from planner.outputs.rollout_json import rollout_to_json
from planner.plan import Plan
from planner.rollout import roll_out
from planner.rollout.moves import order_moves
from planner.rollout.state import read_state
from planner.sizing import plan as make_plan
from planner.verify import verify, verify_rollout
from tests.arrays import fleet_of
from tests.how_many import tries

from .cases import moves_case, random_case
from .replays import replay_case

START = dt.date(2027, 3, 1)


def sound(fleet, plan, rollout):
    assert [str(v) for v in verify_rollout(fleet, plan, rollout)] == []


@settings(max_examples=tries(4), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 10**9))
def test_replay_of_random_rollouts(seed):
    fleet, plan, start = replay_case(seed)
    assert [str(v) for v in verify(fleet, plan) if v.severity == "violation"] == []
    rollout = roll_out(fleet, plan, start=start, time_limit=0)
    sound(fleet, plan, rollout)
    assert rollout.gap >= 0


@pytest.mark.parametrize("seed", range(6))
def test_the_exact_search_is_sound_and_never_worse(seed):
    fleet, plan = random_case(seed)
    quick = roll_out(fleet, plan, start=START, time_limit=0)
    exact = roll_out(fleet, plan, start=START, time_limit=1)
    sound(fleet, plan, exact)
    assert quick.lower_bound_waves <= exact.lower_bound_waves <= len(exact.waves) <= len(quick.waves)
    assert {s.id for s in exact.steps} == {s.id for s in quick.steps}


def test_without_a_pilot_no_wave_waits_for_one():
    """The exact search did not wait, the other one did, and verify asked for it."""
    fleet, plan, start = replay_case(699)
    assert (fleet.policy.pilot_sites, fleet.policy.pilot_days) == (0, 7)
    rollout = roll_out(fleet, plan, start=start, time_limit=1)
    sound(fleet, plan, rollout)
    nights = [wave.starts.toordinal() for wave in rollout.waves if wave.sites]
    assert nights[1] - nights[0] < 7
    assert not any(wave.pilot for wave in rollout.waves)


@settings(max_examples=tries(6), deadline=None)
@given(st.integers(0, 10**9))
@example(108)
@example(194)
def test_only_sites_that_change_are_said_to_lack_room(seed):
    """Half of a detour of a site that stays was left behind, and that site then said to find no room."""
    fleet, plan = random_case(seed)
    keep = {row.site for row in plan.assignments if row.action == "keep"}
    found = [c for c in order_moves(read_state(fleet, plan), {}).conflicts if c.code in ("no_room", "circle")]
    assert [c.message for c in found if set(re.findall(r"S\d\d", c.message)) & keep] == []


def test_who_waits_for_a_site_that_is_not_ready_is_in_no_circle():
    fleet, plan = moves_case(
        {"X": 1, "Y": 1, "Z": 1},
        {"A": "X", "B": "Y"},
        {"A": "Y", "B": "Z"},
        {"A": 1, "B": 1},
        lambda site, hub: False,
    )
    rollout = roll_out(fleet, plan, start=START, open_items={"B": ["no circuit"]})
    assert [c.code for c in rollout.conflicts] == ["readiness", "no_room", "host_retire"]
    assert rollout.waves == ()


def test_rollout_json_has_these_keys():
    fleet, plan = random_case(5)
    data = json.loads(rollout_to_json(roll_out(fleet, plan, start=START, time_limit=0)))
    assert {"waves", "lower_bound_waves", "why"} <= data.keys()
    wave = data["waves"][0]
    assert list(wave) == ["wave", "starts", "ends", "pilot", "timezone", "steps"]
    keys = ["id", "kind", "site", "from_host", "to_host", "host", "release", "starts", "ends", "needs"]
    keys += ["hub", "clusters", "crew", "cautions"]
    assert all(list(step) == keys for wave in data["waves"] for step in wave["steps"])
    assert dt.datetime.fromisoformat(wave["starts"]).utcoffset() is not None


def test_a_site_that_is_not_ready_stays():
    fleet, plan = random_case(5)
    site = next(row.site for row in plan.assignments if row.action != "keep")
    rollout = roll_out(fleet, plan, start=START, time_limit=0, open_items={site: ["no circuit"]})
    assert all(step.site != site for step in rollout.steps)
    assert any(
        c.code == "readiness" and c.where == f"site {site}" and "no circuit" in c.message for c in rollout.conflicts
    )
    sound(fleet, plan, rollout)


def test_a_plan_that_does_not_hold_is_refused():
    fleet, plan = random_case(5)
    wrong = plan.replace(assignments=(dataclasses.replace(plan.assignments[0], clusters=9), *plan.assignments[1:]))
    with pytest.raises(InputError, match="clusters"):
        roll_out(fleet, wrong, start=START)


def test_nothing_to_do():
    fleet, _ = random_case(5)
    empty = fleet.replace(sites=fleet.sites[:0], latency=fleet.latency[:0], current=fleet.current[:0])
    idle = empty.replace(pools=empty.pools.assign(existing_hosts=0.0))
    rollout = roll_out(idle, Plan("optimal", "hosts", 0, 0, (), ()), start=START)
    assert (rollout.waves, rollout.lower_bound_waves, rollout.conflicts) == ((), 0, ())


def test_the_same_input_gives_the_same_rollout():
    fleet, plan = random_case(11)
    assert roll_out(fleet, plan, start=START, time_limit=0) == roll_out(fleet, plan, start=START, time_limit=0)


def test_all_hosts_that_stand_idle_are_retired_though_no_plan_could_use_so_many():
    fleet = fleet_of([[5.0]], pools={"existing_hosts": [5]}, current={"site": ["S00"], "hub": ["H0"]})
    rollout = roll_out(fleet, make_plan(fleet), start=START)
    assert [step.kind for wave in rollout.waves for step in wave.steps] == ["host_retire"] * 4


def test_a_host_above_its_cap_only_gets_emptier():
    sites = [f"S{n}" for n in range(5)]
    today = {"site": sites, "hub": ["H0"] * 5, "host": ["H0-01"] * 5}
    fleet = fleet_of([[5.0]] * 6, digits=1, pools={"existing_hosts": [1.0]}, current=today, cluster_cap=3)
    plan = make_plan(fleet)
    rollout = roll_out(fleet, plan, start=START)
    sound(fleet, plan, rollout)
    assert not rollout.conflicts
    assert {step.to_host for step in rollout.steps if step.site} == {"H0-02"}


def test_split_sites_are_refused():
    fleet = fleet_of([[5.0, 6.0]], digits=1, sites={"clusters": [4]}, cluster_cap=2, split_sites=True)
    with pytest.raises(InputError, match=r"Assignments: the plan has sites that are split over several hosts: S0 on"):
        roll_out(fleet, make_plan(fleet), start=START)
