"""`--time-limit`: a plan cut short holds, and is called optimal only where that is proven."""

import json

import pytest

from planner.cli.progress import Stages, in_words
from planner.sizing import Progress

FEWEST = 4  # hosts for twelve_sites, worked out by hand in README.md


@pytest.mark.parametrize("seconds", [0, 1e-9, 0.001, 0.02, 60, "inf"])
def test_a_small_fleet(call, tmp_path, twelve_sites, seconds):
    assert call("plan", twelve_sites, "--json", "plan.json", "--time-limit", seconds).code == 0
    plan = json.loads((tmp_path / "plan.json").read_text())
    assert plan["lower_bound"] <= FEWEST <= plan["hosts"]
    assert (plan["status"] == "optimal") == (plan["gap"] == 0) == (plan["lower_bound"] == plan["hosts"])
    assert call("verify", twelve_sites, "plan.json").code == 0
    if seconds in (60, "inf"):
        assert plan["status"] == "optimal"


@pytest.mark.parametrize("seconds", [0, 0.5])
def test_a_fleet_that_takes_far_longer(call, tmp_path, fleets, seconds):
    done = call("plan", fleets.slow_to_solve(), "--json", "plan.json", "--time-limit", seconds)
    assert done.code == 0
    assert "no cheaper plan" not in done.out
    plan = json.loads((tmp_path / "plan.json").read_text())
    assert plan["status"] == "feasible"
    assert plan["gap"] > 0
    assert plan["seconds"]["solve"] < seconds + 20
    assert call("verify", fleets.folder, "plan.json").code == 0


def test_the_limit_is_that_of_the_whole_command():
    stages = Stages(quiet=True)
    assert stages.left(None) is None
    assert stages.left(0.1) == 0.0
    assert 7.0 < stages.left(10.0) < 9.5
    stages.seconds["read"] = 5.0  # a large fleet is long in writing, too
    assert 1.0 < stages.left(10.0) < 3.5


def test_progress_says_what_is_settled_and_what_is_being_sharpened():
    assert (
        in_words(Progress("moves and round trips", 23.0, 23.0, 4.2))
        == "23 (final), now reducing moves and round-trip times, 4 s"
    )
    assert "24 (at least 23), now reducing" in in_words(Progress("moves and round trips", 24.0, 23.0, 4.2))
    assert in_words(Progress("hosts", 24.0, 23.0, 4.2)) == "hosts, best 24, at least 23, 4 s"
