"""`castingvote demo`: the whole road in one command."""

import pytest


def test_the_demo_writes_a_fleet_and_its_plan_which_holds(call, tmp_path):
    done = call("demo", "there/new")
    assert done.code == 0
    assert "4 tie-breaker hosts" in done.out
    assert sorted(path.name for path in (tmp_path / "there/new").iterdir()) == ["demo_fleet.xlsx", "demo_plan.xlsx"]
    next_command = done.out.splitlines()[-1].removeprefix("Next: castingvote ").split()
    assert call(*next_command).out == "The plan holds.\n"


def test_the_demo_goes_to_the_current_folder_and_replaces_nothing_unasked(call, tmp_path):
    assert call("demo", "-q").out == ""
    (tmp_path / "demo_plan.xlsx").write_text("notes of mine")
    done = call("demo")
    assert done.code == 2
    assert "demo_fleet.xlsx and demo_plan.xlsx exist" in done.err
    assert (tmp_path / "demo_plan.xlsx").read_text() == "notes of mine"
    assert call("demo", "--force", "-q").code == 0
    assert (tmp_path / "demo_plan.xlsx").read_bytes().startswith(b"PK")
    assert (tmp_path / "demo_plan.kept-1.xlsx").read_text() == "notes of mine"
    assert call("demo", "--force", "-q").code == 0
    assert len(list(tmp_path.iterdir())) == 3  # what nobody changed is not kept
    (tmp_path / "demo_fleet.xlsx").write_text("my fleet")
    assert call("demo", "--force", "-q").code == 0
    assert (tmp_path / "demo_fleet.kept-1.xlsx").read_text() == "my fleet"


def test_a_demo_that_cannot_be_planned_leaves_nothing_behind(call, tmp_path, monkeypatch):
    def fail(*_arguments, **_options):
        raise ValueError("no plan")

    monkeypatch.setattr("planner.sizing.plan", fail)
    assert call("demo").code == 3
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("folder", ["taken", "taken/below"])
def test_a_file_where_the_folder_should_be(call, tmp_path, folder):
    (tmp_path / "taken").write_text("a file")
    done = call("demo", folder)
    assert done.code == 2
    assert "taken" in done.err
