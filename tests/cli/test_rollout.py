"""`castingvote rollout`: waves on the terminal and as JSON, and calls that are wrong."""

import json
import shutil

import openpyxl
import pytest


@pytest.fixture
def planned(twelve_planned, tmp_path):
    return shutil.copytree(twelve_planned, tmp_path, dirs_exist_ok=True)


@pytest.mark.parametrize("plan", ["plan.xlsx", "plan.json"])
def test_the_sample_fleet(call, planned, twelve_sites, plan):
    done = call("rollout", twelve_sites, plan, "--json", "rollout.json", "--start", "2027-03-01")
    assert (done.code, done.err) == (0, "")
    assert done.out.startswith("2 waves from 2027-03-07 to ")
    assert "Fewer waves are not possible (proven)." in done.out
    assert "pilot" in done.out
    assert "Caution: Verify the latency on site" in done.out
    data = json.loads((planned / "rollout.json").read_text())
    assert [wave["wave"] for wave in data["waves"]] == [1, 2]
    assert data["lower_bound_waves"] == 2


def test_json_alone_on_standard_output(call, planned, twelve_sites):
    done = call("rollout", twelve_sites, "plan.json", "--json", "-", "--start", "2027-03-01")
    assert done.code == 0
    assert json.loads(done.out)["conflicts"] == []
    assert "2 waves" in done.err
    assert call("rollout", "-q", twelve_sites, "plan.json").out == ""


def test_sites_that_are_not_ready_are_left_out_on_request(call, fleets):
    path = fleets.write(Sites=[["site", "node_locations"], ["0001", 1], ["0002", 2]])
    assert call("plan", "-q", path, "--json", "plan.json").code == 0
    assert call("rollout", "-q", path, "plan.json").code == 0
    done = call("rollout", path, "plan.json", "--only-ready")
    assert done.code == 1
    assert "site 0002: it is not ready: one_location" in done.out
    assert "site 0001" not in done.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--start", "soon"], "soon"),
        (["--json", "plan.json"], "named twice"),
        (["--json", "nowhere/rollout.json"], "does not exist"),
    ],
)
def test_wrong_calls(call, planned, twelve_sites, arguments, words):
    done = call("rollout", twelve_sites, "plan.json", *arguments)
    assert done.code == 2
    assert words in done.err


def test_a_plan_of_another_fleet_is_refused(call, planned, twelve_sites):
    data = json.loads((planned / "plan.json").read_text())
    data["assignments"][0]["host"] = "nobody"
    (planned / "plan.json").write_text(json.dumps(data))
    done = call("rollout", twelve_sites, "plan.json")
    assert done.code == 2
    assert "nobody" in done.err


def test_the_freezes_and_windows_that_were_read_are_said(call, fleets):
    tables = {"Sites": [["site", "window"], ["0001", "Mon 22:00-04:00"], ["0002", ""]]}
    path = fleets.write(**tables)
    assert call("plan", "-q", path, "--json", "plan.json").code == 0
    bare = call("rollout", path, "plan.json", "-o", "bare.xlsx")
    assert "Freezes: none were read. Add each one to sheet Freezes" in bare.out
    assert "Windows: 1 site with a window of its own. No window was read for 1 site and 1 hub" in bare.out
    policy = [["setting", "value"], ["latency_budget_ms", 40], ["window", "Sun 22:00-04:00"]]
    freezes = [["first", "last", "regions", "reason"], ["2027-12-20", "2028-01-03", "", "year's end"],
               ["2027-05-01", "2027-05-01", "North", ""]]  # fmt: skip
    path = fleets.write(**tables, Freezes=freezes, Policy=policy)
    assert call("plan", "-q", path, "--json", "plan.json").code == 0
    told = call("rollout", path, "plan.json", "-o", "rollout.xlsx").out
    freezes = "Freezes: 2 were read. 2027-05-01 (North), 2027-12-20 to 2028-01-03 (year's end)."
    assert freezes in told
    assert "Sun 22:00-04:00 counts for 1 site and 1 hub." in told
    overview = openpyxl.load_workbook("rollout.xlsx")["Overview"]
    assert freezes in [cell.value for row in overview.iter_rows() for cell in row]
