"""`verify --proof`: the bound of a plan.json, proven again."""

import json
import shutil

import pytest


@pytest.fixture
def plan(twelve_planned, tmp_path):
    return shutil.copytree(twelve_planned, tmp_path, dirs_exist_ok=True) / "plan.json"


def test_a_proof_that_holds_is_said_to(call, twelve_sites, plan):
    done = call("verify", twelve_sites, "plan.json", "--proof")
    assert done.code == 0
    assert "The plan holds." in done.out
    assert "The proof holds" in done.out


def test_a_bent_proof_ends_with_1(call, twelve_sites, plan):
    data = json.loads(plan.read_text())
    data["proof"]["details"]["sets"][0]["needs"] += 1
    plan.write_text(json.dumps(data))
    done = call("verify", twelve_sites, "plan.json", "--proof")
    assert done.code == 1
    assert "The proof does not hold" in done.out
    assert call("verify", twelve_sites, "plan.json").code == 0


def test_a_workbook_carries_the_proof_too(call, twelve_sites, plan):
    from_json = call("verify", twelve_sites, "plan.json", "--proof")
    done = call("verify", twelve_sites, "plan.xlsx", "--proof")
    assert (done.code, done.out) == (0, from_json.out)
    assert "The proof holds" in done.out
    assert "plan.json" not in done.out


def test_as_json_the_verdict_stands_beside_the_violations(call, twelve_sites, plan):
    data = json.loads(call("verify", twelve_sites, "plan.json", "--proof", "--json", "-").out)
    assert (data["violations"], data["proof"]["verdict"]) == ([], "proof")
