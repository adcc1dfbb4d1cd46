"""Which fleet, which plan, and a hash that changes with what is to be carried out and with nothing else."""

import dataclasses
import json

import pytest

import planner
from planner.identity import fleet_id, identity_in_words, identity_of, numbered, plan_hash
from sample_fleets.make_fleet import generate


@pytest.fixture(scope="module")
def fleet():
    return planner.fleet_from_tables(generate(40, 5, seed=6))


@pytest.fixture(scope="module")
def plan(fleet):
    return planner.plan(fleet)


def test_the_id_hangs_on_hubs_and_not_on_files_sites_or_order(fleet, plan):
    fewer = fleet.replace(sites=fleet.sites.iloc[1:].reset_index(drop=True), sources=())
    turned = fleet.replace(pools=fleet.pools.iloc[::-1].reset_index(drop=True))
    assert fleet_id(fewer) == fleet_id(turned) == fleet_id(fleet) == plan.fleet_id
    assert fleet_id(fleet.replace(pools=fleet.pools.iloc[1:].reset_index(drop=True))) != plan.fleet_id


def test_the_setting_is_the_id(fleet):
    assert fleet_id(fleet.replace(policy=fleet.policy.replace(fleet_id="shops-north"))) == "shops-north"


def test_the_hash_is_that_of_what_is_carried_out(plan):
    assert plan_hash(plan.replace(seconds={}, findings=(), version="9", number=7, sources=())) == plan_hash(plan)
    turned = plan.replace(assignments=plan.assignments[::-1], host_list=plan.host_list[::-1])
    assert plan_hash(turned) == plan_hash(plan)
    first = plan.assignments[0]
    for change in ({"host": "OTHER-01"}, {"standby": "OTHER-01"}, {"rtt_ms": first.rtt_ms + 0.1}, {"clusters": 9}):
        changed = plan.replace(assignments=(dataclasses.replace(first, **change), *plan.assignments[1:]))
        assert plan_hash(changed) != plan_hash(plan)
    assert plan_hash(plan.replace(assignments=plan.assignments[1:])) != plan_hash(plan)
    assert plan_hash(plan.replace(unserved=())) != plan_hash(plan)


def test_workbook_and_json_give_the_same_identity_back(fleet, plan, tmp_path):
    plan = plan.replace(number=3, follows="ab")
    planner.write_workbook(fleet, plan, tmp_path / "plan.xlsx")
    planner.write_json(plan, tmp_path / "plan.json")
    told = json.loads((tmp_path / "plan.json").read_text())
    assert (told["number"], told["hash"], told["fleet_id"]) == (3, plan_hash(plan), plan.fleet_id)
    for name in ("plan.xlsx", "plan.json"):
        read = planner.read_plan(tmp_path / name)
        assert (read.number, read.follows, read.fleet_id) == (3, "ab", plan.fleet_id)
        assert plan_hash(read) == plan_hash(plan)


def test_the_number_goes_up_with_what_is_to_be_done(fleet, plan):
    smaller = planner.plan(fleet.replace(sites=fleet.sites.iloc[1:].reset_index(drop=True)))
    second = numbered(smaller, identity_of(plan))
    assert (second.number, second.follows) == (2, plan_hash(plan))
    third = numbered(plan, identity_of(second))
    assert (third.number, third.follows) == (3, plan_hash(second))
    assert numbered(plan.replace(seconds={}), identity_of(third)).number == 3
    assert numbered(plan, None) == plan
    assert numbered(plan, identity_of(second.replace(fleet_id="clinics"))).number == 1
    assert identity_in_words(third).startswith(f"Plan 3 of fleet {plan.fleet_id}, hash {plan_hash(plan)[:12]}")


def test_a_rollout_says_which_plan_it_leads_to(fleet, plan):
    rollout = planner.roll_out(fleet, plan.replace(number=4), time_limit=0)
    assert (rollout.fleet_id, rollout.plan_number, rollout.plan_hash) == (plan.fleet_id, 4, plan_hash(plan))
