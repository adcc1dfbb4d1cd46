"""`castingvote check`: all findings of a fleet, as text and as JSON."""

import json


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
