"""`castingvote export`: every form at once or alone, and no input is written over."""

import json
import shutil

import pytest


@pytest.fixture
def planned(twelve_planned, twelve_sites, tmp_path):
    shutil.copy(twelve_planned / "plan.json", tmp_path)
    return twelve_sites


def test_all_forms_at_once(call, tmp_path, planned):
    done = call("export", planned, "plan.json", "--geojson", "a.geojson", "--csv", "tables", "--markdown", "a.md")
    assert done.code == 0
    assert len(json.loads((tmp_path / "a.geojson").read_text(encoding="utf-8"))["features"]) == 12 + 3 + 11
    assert (tmp_path / "tables" / "assignments.csv").exists()
    assert (tmp_path / "a.md").read_text(encoding="utf-8").startswith("**4 tie-breaker hosts")
    assert "Written: tables/hosts.csv" in done.out


@pytest.mark.parametrize(("option", "start"), [("--markdown", "**4 tie"), ("--geojson", '{\n "type"')])
def test_standard_output_carries_only_what_was_asked_for(call, planned, option, start):
    done = call("export", planned, "plan.json", option, "-")
    assert done.code == 0
    assert done.out.startswith(start)
    assert "Written" not in done.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "Nothing to write"),
        (("--geojson", "-", "--markdown", "-"), "Only one"),
        (("--geojson", "plan.json"), "is the plan itself"),
        (("--geojson", "a", "--markdown", "a"), "named twice"),
        (("--markdown", "nowhere/a.md"), "does not exist"),
    ],
)
def test_wrong_calls_write_nothing(call, tmp_path, planned, arguments, words):
    done = call("export", planned, "plan.json", *arguments)
    assert done.code == 2
    assert words in done.err
    assert [path.name for path in tmp_path.iterdir()] == ["plan.json"]


def test_tables_do_not_mix_with_a_fleet_of_csv_files(call, tmp_path, fleets):
    fleet = fleets.sound()
    call("plan", "-q", fleet, "--json", "plan.json")
    before = sorted(path.name for path in fleet.iterdir())
    done = call("export", fleet, "plan.json", "--csv", fleet)
    assert done.code == 2
    assert sorted(path.name for path in fleet.iterdir()) == before
