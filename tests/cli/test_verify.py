"""`castingvote verify`: a plan as made, as edited by hand, and for another fleet."""

import json
import shutil

import openpyxl
import pytest


@pytest.fixture
def planned(twelve_planned, tmp_path):
    return shutil.copytree(twelve_planned, tmp_path, dirs_exist_ok=True)


def move(path, site, host):
    """Put a site on another host, as somebody would in a spreadsheet program."""
    book = openpyxl.load_workbook(path)
    sheet = book["Assignments"]
    headings = [cell.value for cell in sheet[1]]
    row = next(row for row in sheet.iter_rows(min_row=2) if row[headings.index("site")].value == site)
    row[headings.index("host")].value = host
    book.save(path)


@pytest.mark.parametrize("name", ["plan.xlsx", "plan.json"])
def test_a_plan_as_made_holds(call, planned, twelve_sites, name):
    done = call("verify", twelve_sites, name)
    assert (done.code, done.out, done.err) == (0, "The plan holds.\n", "")
    assert call("verify", "-q", twelve_sites, name).out == ""


def test_a_site_moved_by_hand_to_a_host_too_far_away(call, planned, twelve_sites):
    move(planned / "plan.xlsx", "M01", "CEDAR-01")
    done = call("verify", twelve_sites, "plan.xlsx")
    assert done.code == 1
    assert "violation site M01" in done.out
    assert "[latency]" in done.out
    assert "38" in done.out
    assert "20" in done.out
    assert done.out.endswith("violations.\n")
    assert call("verify", "-q", twelve_sites, "plan.xlsx").out == done.out


def test_violations_as_json(call, planned, twelve_sites):
    move(planned / "plan.xlsx", "M01", "CEDAR-01")
    done = call("verify", "--json", "-", twelve_sites, "plan.xlsx")
    assert done.code == 1
    assert "latency" in {violation["code"] for violation in json.loads(done.out)["violations"]}
    assert json.loads(call("verify", "--json", "-", twelve_sites, "plan.json").out) == {"format": 1, "violations": []}


def test_a_host_that_the_plan_does_not_run(call, planned, twelve_sites):
    move(planned / "plan.xlsx", "M01", "ALDER-09")
    done = call("verify", twelve_sites, "plan.xlsx")
    assert done.code == 1
    assert "ALDER-09" in done.out


def test_a_plan_for_another_fleet(call, planned, fleets):
    done = call("verify", fleets.sound(), "plan.json")
    assert done.code == 1
    assert "M01" in done.out


def test_a_cell_that_cannot_be_read_is_named(call, planned, twelve_sites):
    move(planned / "plan.xlsx", "M01", None)
    done = call("verify", twelve_sites, "plan.xlsx")
    assert done.code == 2
    assert "plan.xlsx Assignments!" in done.err
