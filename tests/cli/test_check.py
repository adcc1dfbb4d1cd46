"""`castingvote check`: all findings of a fleet, as text and as JSON."""

import json

import pytest

from planner.cli import cli
from planner.intake import read_fleet


def test_a_sound_fleet(call, twelve_sites):
    done = call("check", twelve_sites)
    assert done.code == 0
    assert done.out.endswith("twelve_sites.xlsx: 12 sites, 3 hubs, 1 info.\n")
    assert done.err == ""


def test_errors_in_the_data_are_an_objection_not_a_wrong_call(call, fleets):
    done = call("check", fleets.wrong())
    assert done.code == 1
    assert done.out.count("error     ") == 2
    assert done.out.endswith("2 errors.\n")


def test_warnings_are_no_objection(call, fleets):
    fleets.write(Current=[["site", "hub"], ["0007", "ESK"]])
    done = call("check", fleets.folder)
    assert done.code == 0
    assert "warning   Current.csv Current!A2" in done.out


def test_json_has_every_finding_with_its_place(call, fleets):
    done = call("check", "--json", fleets.wrong())
    assert done.code == 1
    findings = json.loads(done.out)
    assert {f["where"] for f in findings} == {"Policy!B2", "Policy!B3"}
    assert all(set(f) == {"severity", "code", "where", "message", "hint", "file"} for f in findings)


def test_json_of_a_fleet_without_findings_is_an_empty_list(call, fleets):
    done = call("check", "--json", fleets.sound())
    assert (done.code, json.loads(done.out), done.err) == (0, [], "")


def test_a_file_that_cannot_be_read_ends_in_2_with_no_json(call):
    done = call("check", "--json", "nowhere.xlsx")
    assert (done.code, done.out) == (2, "")
    assert "nowhere.xlsx" in done.err


def test_quiet_speaks_of_errors_only(call, fleets):
    fleets.write(Current=[["site", "hub"], ["0007", "ESK"]])
    assert call("check", "-q", fleets.folder).out == ""
    assert "Policy!B2" in call("check", "-q", fleets.wrong()).out


ODD = {
    "Sites": [["Store ID", "Budget one way [s]"], ["0001", "0,01"], ["0002", "0,01"]],
    "Hubs": [["hub", "host_release"], ["ESK", "8.2"]],
}


def test_repairs_are_written_and_read_again_without_one(call, fleets, tmp_path):
    fleets.write(**ODD)
    done = call("check", fleets.folder, "--repaired", "clean.xlsx", "--write-mapping", "fleet.toml")
    assert done.code == 0
    assert (
        'warning   Sites.csv Sites!B1: The header "Budget one way [s]" says one way: the times were doubled.'
        in done.out
    )
    assert '"Store ID" = site' in done.out
    assert done.out.endswith("Written: fleet.toml\nWritten: clean.xlsx\n")
    again = call("check", "clean.xlsx")
    assert again.code == 0
    assert "doubled" not in again.out
    assert read_fleet(tmp_path / "clean.xlsx").budgets_ms.tolist() == [20, 20]
    assert call("check", fleets.folder, "--mapping", "fleet.toml").code == 0


def test_nothing_is_repaired_while_there_are_errors(call, fleets, tmp_path):
    done = call("check", fleets.wrong(), "--repaired", "clean.xlsx", "--write-mapping", "fleet.toml")
    assert done.code == 1
    assert done.out.endswith("Not written: clean.xlsx, since there are errors to mend first.\n")
    assert not (tmp_path / "clean.xlsx").exists()
    assert (tmp_path / "fleet.toml").exists()


def test_outputs_may_not_be_the_input_nor_of_another_kind(call, fleets):
    fleets.sound()
    assert call("check", fleets.folder, "--repaired", "clean.csv").code == 2
    assert call("check", fleets.folder, "--repaired", "nowhere/clean.xlsx").code == 2


@pytest.mark.parametrize("name", [n for n, c in cli.commands.items() if any(p.name == "fleet" for p in c.params)])
def test_every_command_that_reads_a_fleet_heeds_a_mapping(call, fleets, name):
    fleets.sound()
    more = ["plan.json"] if any(p.name == "plan" for p in cli.commands[name].params) else []
    done = call(name, fleets.folder, *more, "--mapping", "nowhere.toml")
    assert done.code == 2
    assert "nowhere.toml: The mapping file cannot be read" in done.err
