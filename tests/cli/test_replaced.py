"""Workbooks that people have filled in are not replaced unasked, and not lost when asked."""

import os
import shutil
import zipfile
from pathlib import Path

import openpyxl
import pytest


@pytest.fixture
def planned(twelve_planned, tmp_path):
    """A plan workbook as castingvote wrote it."""
    return shutil.copy(twelve_planned / "plan.xlsx", tmp_path / "plan.xlsx")


def fill_in(path, **cells):
    """Type into row 2 of Assignments and save."""
    book = openpyxl.load_workbook(path)
    sheet = book["Assignments"]
    heads = {cell.value: cell.column for cell in sheet[1]}
    for name, value in cells.items():
        sheet.cell(2, heads[name]).value = value
    book.save(path)


def test_a_workbook_as_it_was_written_is_replaced(call, twelve_sites, planned):
    assert call("plan", twelve_sites, "-q", "-o", planned).code == 0
    assert call("sweep", twelve_sites, "-q", "--vary", "cluster_cap=4", "--jobs", 1, "-o", planned).code == 0


@pytest.mark.parametrize(
    "arguments",
    [
        ("plan", "FLEET", "-o", "plan.xlsx"),
        ("rollout", "FLEET", "plan.json", "-o", "plan.xlsx"),
        ("progress", "FLEET", "copy.xlsx", "-o", "plan.xlsx"),
        ("drill", "FLEET", "plan.json", "-o", "plan.xlsx"),
        ("check", "FLEET", "--repaired", "plan.xlsx"),
    ],
    ids=lambda arguments: " ".join(arguments[:1]),
)
def test_what_people_filled_in_is_refused_with_what_it_is_and_kept_with_force(
    call, twelve_sites, twelve_planned, planned, tmp_path, arguments
):
    shutil.copy(planned, tmp_path / "copy.xlsx")
    shutil.copy(twelve_planned / "plan.json", tmp_path)
    fill_in(planned, status="done", date="2027-03-01", initials="AB")
    before = planned.read_bytes()
    words = [twelve_sites if word == "FLEET" else word for word in arguments]
    done = call(*words)
    assert (done.code, done.out) == (2, "")
    told = " ".join(done.err.split())
    assert "plan.xlsx exists: people have filled in 1 status, 1 date, 1 initials on sheet Assignments." in told
    assert "--force" in told
    assert planned.read_bytes() == before
    done = call(*words, "--force")
    assert done.code in (0, 1), done.err
    assert "Copy of the old plan.xlsx: plan.kept-1.xlsx" in done.err
    assert (tmp_path / "plan.kept-1.xlsx").read_bytes() == before
    assert planned.read_bytes() != before


def test_a_second_copy_does_not_replace_the_first(call, twelve_sites, planned, tmp_path):
    for number in (1, 2):
        fill_in(planned, remarks=f"note {number}")
        assert call("plan", twelve_sites, "-q", "-o", planned, "--force").code == 0
    kept = [openpyxl.load_workbook(tmp_path / f"plan.kept-{number}.xlsx") for number in (1, 2)]
    assert [book["Assignments"].cell(2, 1).value is not None for book in kept] == [True, True]
    assert sorted(path.name for path in tmp_path.glob("plan*.xlsx")) == [
        "plan.kept-1.xlsx",
        "plan.kept-2.xlsx",
        "plan.xlsx",
    ]


def test_a_workbook_that_somebody_saved_is_refused_whatever_was_changed(call, twelve_sites, planned):
    book = openpyxl.load_workbook(planned)
    book["Hosts"]["A40"] = "ask Mona"
    book.properties.lastModifiedBy = "Mona"
    book.save(planned)
    done = call("plan", twelve_sites, "-o", planned)
    assert done.code == 2
    assert "Mona has saved it since castingvote wrote it" in " ".join(done.err.split())


@pytest.mark.parametrize("junk", [False, True])
def test_a_workbook_of_somebody_else_is_refused(call, twelve_sites, tmp_path, junk):
    path = tmp_path / "stores.xlsx"
    if junk:
        path.write_text("no workbook")
    else:
        openpyxl.Workbook().save(path)
    before = path.read_bytes()
    done = call("plan", twelve_sites, "-o", path)
    assert done.code == 2
    assert ("no workbook that castingvote wrote" if junk else "castingvote did not write it") in " ".join(
        done.err.split()
    )
    assert path.read_bytes() == before


def test_an_empty_file_is_nobodys_work(call, twelve_sites, tmp_path):
    (tmp_path / "plan.xlsx").touch()
    assert call("plan", twelve_sites, "-q", "-o", "plan.xlsx").code == 0


def test_a_filled_in_run_sheet_is_refused(call, fleets, tmp_path):
    current = [["site", "host", "hub"], ["0001", "OLD-1", "ESK"], ["0002", "OLD-1", "ESK"]]
    hubs = [["hub", "max_hosts", "host_release"], ["ESK", 2, "8.2"], ["TWO", 2, "8.2"]]
    latency = [["site", "ESK", "TWO"], ["0001", 30, 12], ["0002", 30, 14]]
    fleet = fleets.write(Current=current, Hubs=hubs, Latency=latency)
    assert call("plan", fleet, "-q", "--json", "plan.json").code == 0
    assert call("rollout", fleet, "plan.json", "-q", "-o", "rollout.xlsx").code in (0, 1)
    book = openpyxl.load_workbook(tmp_path / "rollout.xlsx")
    sheet = book["Steps"]
    heads = {cell.value: cell.column for cell in sheet[1]}
    sheet.cell(2, heads["status"]).value = "blocked"
    book.save(tmp_path / "rollout.xlsx")
    done = call("rollout", fleet, "plan.json", "-o", "rollout.xlsx")
    assert done.code == 2
    assert "people have filled in 1 status on sheet Steps" in " ".join(done.err.split())


def test_json_that_cannot_be_made_leaves_the_workbook_as_it_was(call, twelve_sites, planned, tmp_path, monkeypatch):
    before = planned.read_bytes()

    def fail(*_arguments):
        raise ValueError("Out of range float values are not JSON compliant")

    monkeypatch.setattr("planner.outputs.plan_to_json", fail)
    done = call("plan", twelve_sites, "-o", planned, "--json", "plan.json")
    assert done.code == 3
    assert planned.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["plan.xlsx"]
    assert (call("plan", twelve_sites, "-o", "new.xlsx", "--json", "-")).out == ""
    assert [path.name for path in tmp_path.iterdir()] == ["plan.xlsx"]


def test_a_damaged_workbook_is_refused_and_closed(call, twelve_sites, planned):
    with zipfile.ZipFile(planned) as whole:
        parts = {name: whole.read(name) for name in whole.namelist()}
    with zipfile.ZipFile(planned, "w") as spoilt:
        for name, content in parts.items():
            spoilt.writestr(name, b"<workbook" if name == "xl/workbook.xml" else content)
    done = call("plan", twelve_sites, "-o", planned)
    assert done.code == 2
    assert "no workbook that castingvote wrote" in " ".join(done.err.split())
    folder = Path("/proc/self/fd")
    if folder.is_dir():
        assert str(planned) not in {os.path.realpath(link) for link in folder.iterdir()}
