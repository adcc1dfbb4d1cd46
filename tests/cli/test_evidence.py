"""`castingvote export --evidence`: the folder is whole, its hashes are right, and it says what does not hold."""

import csv
import hashlib
import json
import shutil

import openpyxl
import pytest

from planner.outputs import headings
from planner.outputs.read_plan import read_plan


@pytest.fixture
def planned(small_planned, tmp_path):
    shutil.copytree(small_planned, tmp_path, dirs_exist_ok=True)
    return tmp_path


def fill(path, sheet, cells):
    book = openpyxl.load_workbook(path)
    for place, value in cells.items():
        book[sheet][place] = value
    book.save(path)


def assert_hashes(folder):
    lines = (folder / "hashes.txt").read_text().splitlines()
    told = dict(reversed(line.split("  ", 1)) for line in lines)
    there = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    assert set(told) == set(there) - {"hashes.txt"}
    for name, digest in told.items():
        assert hashlib.sha256(there[name].read_bytes()).hexdigest() == digest
    return set(told)


def test_the_folder_holds_all_that_the_plan_rests_on(call, planned):
    fill(planned / "plan.xlsx", "Approval", {"B4": "R. Ash", "C4": "2027-02-03", "D4": "approved"})
    done = call("export", "fleet", "plan.xlsx", "--evidence", "audit", "-q")
    assert done.code == 0, done.err
    names = assert_hashes(planned / "audit")
    inputs = {f"fleet/{path.name}" for path in (planned / "fleet").iterdir()}
    assert names == inputs | {
        *("README.txt", "plan/plan.xlsx", "plan/plan.json", "plan/proof.txt", "plan/certificate.vipr"),
        *("checks/verify.json", "checks/verify.txt", "approvals/approvals.csv"),
    }
    checks = json.loads((planned / "audit/checks/verify.json").read_text())
    assert (checks["violations"], checks["proof"]["verdict"]) == ([], "proof")
    assert checks["certificate"]["verdict"] == "holds"
    assert checks["sign_off"]["verdict"] == "signed"
    text = (planned / "audit/approvals/approvals.csv").read_text(encoding="utf-8-sig")
    (approval,) = csv.DictReader(text.splitlines())
    assert (approval["name"], approval["decision"]) == ("R. Ash", "approved")
    assert read_plan(planned / "audit/plan/plan.json").assignments == read_plan(planned / "plan.json").assignments
    again = call("verify", planned / "audit/fleet", planned / "audit/plan/plan.xlsx", "--proof")
    assert again.code == 0


def test_results_are_in_it_and_what_fails_is_said(call, planned):
    book = openpyxl.load_workbook(planned / "plan.xlsx")
    sheet = book["Assignments"]
    heads = [cell.value for cell in sheet[1]]
    row = {"status": "done", "date": "2027-03-01", "RTT after ms": 33, "three votes seen": "no", "remarks": "=1+1"}
    for heading, value in row.items():
        cell = sheet.cell(2, heads.index(heading) + 1)
        cell.value = value
        cell.data_type = "s" if isinstance(value, str) else "n"
    book.save(planned / "returned.xlsx")
    done = call("export", "fleet", "plan.json", "--evidence", "audit", "--results", "returned.xlsx", "-q")
    assert done.code == 0, done.err
    assert {"results/returned.xlsx", "results/results.csv"} <= assert_hashes(planned / "audit")
    first, *_ = csv.DictReader((planned / "audit/results/results.csv").read_text(encoding="utf-8-sig").splitlines())
    assert (first["status"], first["RTT after ms"], first["remarks"]) == ("done", "33", "'=1+1")
    words = (planned / "audit/checks/verify.txt").read_text()
    assert "measured 33 ms" in words
    assert "does not see three votes" in words


def test_copies_may_be_folders_of_csv_files_and_steps_at_hosts_are_results_too(call, planned):
    """A folder ended with 2, hosts that were installed stood in no table, and the source was that of the plan."""
    assert call("rollout", "fleet", "plan.xlsx", "-o", "rollout.xlsx", "--start", "2027-03-01", "-q").code == 0
    sheet = openpyxl.load_workbook(planned / "rollout.xlsx")["Steps"]
    rows = [["" if value is None else value for value in row] for row in sheet.iter_rows(values_only=True)]
    status, step = rows[0].index("status"), rows[0].index("step")
    rows[1][status] = "erledigt"
    (planned / "north").mkdir()
    with (planned / "north" / "Steps.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, delimiter=";").writerows(rows)
    given = ("--results", "rollout.xlsx", "--results", "north")
    done = call("export", "fleet", "plan.xlsx", "--evidence", "audit", *given, "-q")
    assert done.code == 0, done.err
    assert "results/north/Steps.csv" in assert_hashes(planned / "audit")
    first, *_ = csv.DictReader((planned / "audit/results/steps.csv").read_text(encoding="utf-8-sig").splitlines())
    assert (first["step"], first["status"]) == (rows[1][step], "done")
    assert first["source"].startswith("north Steps!")


def test_another_plan_than_the_approved_one_ends_with_1(call, planned):
    fill(planned / "plan.xlsx", "Approval", {"B4": "R. Ash", "C4": "2027-02-03", "D4": "approved", "F4": "0" * 64})
    done = call("export", "fleet", "plan.json", "--evidence", "audit", "--approval", "plan.xlsx", "-q")
    assert done.code == 1
    assert "approvals/plan.xlsx" in assert_hashes(planned / "audit")
    assert "not the plan that was approved" in (planned / "audit/checks/verify.txt").read_text()


@pytest.mark.parametrize("plan", ["plan.xlsx", "plan.json"])
def test_results_of_another_plan_end_with_1(call, planned, plan):
    book = openpyxl.load_workbook(planned / "plan.xlsx")
    (made,) = [row[1] for row in book["Summary"].iter_rows() if row[0].value == headings.PLAN_HASH]
    made.value = "0" * 64
    book.save(planned / "returned.xlsx")
    done = call("export", "fleet", plan, "--evidence", "audit", "--results", "returned.xlsx", "-q")
    assert done.code == 1
    assert "returned.xlsx is a copy of another plan" in (planned / "audit/checks/verify.txt").read_text()


def test_a_folder_that_holds_something_is_left_alone(call, planned):
    (planned / "audit").mkdir()
    (planned / "audit" / "note.txt").write_text("mine")
    done = call("export", "fleet", "plan.xlsx", "--evidence", "audit")
    assert done.code == 2
    assert [path.name for path in (planned / "audit").iterdir()] == ["note.txt"]
    assert call("export", "fleet", "plan.xlsx", "--results", "plan.xlsx", "--markdown", "m.md").code == 2
