"""The sheet Approval, and what verify says of the plan that was signed."""

import csv
import datetime as dt
import json
import shutil

import openpyxl
import pytest


@pytest.fixture
def planned(small_planned, tmp_path):
    shutil.copytree(small_planned, tmp_path, dirs_exist_ok=True)
    return tmp_path / "plan.xlsx"


def sign(path, name="R. Ash", date=dt.date(2027, 2, 3), decision="approved", host=None, hashed=None):
    book = openpyxl.load_workbook(path)
    sheet = book["Approval"]
    sheet["B4"], sheet["C4"], sheet["D4"] = name, date, decision
    if hashed is not None:
        sheet["F4"] = hashed
    if host is not None:
        rows = book["Assignments"]
        heads = [cell.value for cell in rows[1]]
        rows.cell(2, heads.index("RTT ms") + 1).value = host
    book.save(path)


def test_an_unsigned_plan_says_nothing_of_it(call, planned):
    done = call("verify", "fleet", planned)
    assert done.code == 0
    assert done.out.splitlines() == ["The plan holds."]


def test_the_signed_plan_is_told_from_any_other(call, planned):
    sign(planned)
    done = call("verify", "fleet", planned)
    assert done.code == 0
    assert "This is the plan that was approved" in done.out
    assert "R. Ash, approved by (Approval!B4): approved on 2027-02-03." in done.out
    as_json = call("verify", "fleet", "plan.json", "--approval", planned)
    assert as_json.code == 0
    sign(planned, host=11.5)
    changed = call("verify", "fleet", planned)
    assert changed.code == 1
    assert "This is not the plan that was approved." in changed.out


@pytest.mark.parametrize(("digits", "code"), [(64, 0), (12, 0), (11, 1)])
def test_as_many_digits_of_the_hash_as_people_compare_are_enough(call, planned, digits, code):
    made = json.loads((planned.parent / "plan.json").read_text())["hash"]
    sign(planned, hashed=made[:digits].upper())
    assert call("verify", "fleet", planned).code == code


@pytest.mark.parametrize(
    ("changes", "code", "words"),
    [
        ({"decision": "refused"}, 1, "This plan was refused."),
        ({"decision": ""}, 0, "The approval of this plan is not complete."),
        ({"date": None}, 0, "The approval of this plan is not complete."),
        ({"hashed": "0" * 64}, 1, "This is not the plan that was approved."),
        ({"decision": "Approved"}, 0, "This is the plan that was approved"),
        ({"name": None, "decision": "refused"}, 1, "Somebody without a name, approved by (Approval!B4): refused"),
        ({"name": None}, 0, "The approval of this plan is not complete."),
        ({"decision": "perhaps"}, 0, 'wrote "perhaps", neither approved nor refused'),
        ({"decision": "genehmigt"}, 0, "This is the plan that was approved"),
        ({"decision": "Abgelehnt!"}, 1, 'refused ("Abgelehnt!")'),
        ({"hashed": ""}, 1, "Hash of the approval: blank."),
    ],
)
def test_every_decision_is_told(call, planned, changes, code, words):
    sign(planned, **changes)
    done = call("verify", "fleet", planned)
    assert (done.code, words in done.out) == (code, True)


def test_nobody_signed_where_approvals_are_asked_for(call, planned):
    done = call("verify", "fleet", "plan.json", "--approval", planned)
    assert done.code == 0
    assert "Nobody has approved this plan yet" in done.out


def test_a_signed_workbook_is_not_replaced_unasked(call, planned):
    sign(planned)
    done = call("plan", "fleet", "-o", planned, "-q")
    assert done.code == 2
    assert "Approval" in done.err


def test_a_sheet_without_its_columns_is_refused(call, planned):
    book = openpyxl.load_workbook(planned)
    book["Approval"]["F1"] = "notes"
    book.save(planned)
    done = call("verify", "fleet", planned)
    assert done.code == 2
    assert "hash of the plan" in done.err


def test_a_formula_that_nobody_saved_is_no_approval(call, planned):
    """Its cell was shown as a piece of program text."""
    sign(planned, date="=TODAY()")
    done = call("verify", "fleet", planned)
    assert done.code == 2
    assert "Approval: These cells have an error, or a formula whose result was never saved: C4." in done.err
    assert "Type the text or the day itself" in done.err


def test_tickets_name_who_approved_this_very_plan(call, planned, tmp_path):
    """The column was always blank."""

    def approvers(path):
        arguments = ("--tickets", tmp_path / "tickets.csv", "--start", "2027-03-01", "-q")
        assert call("rollout", "fleet", path, *arguments).code == 0
        rows = csv.DictReader((tmp_path / "tickets.csv").read_text(encoding="utf-8-sig").splitlines())
        return {row["approver"] for row in rows}

    assert approvers(planned) == {""}
    sign(planned, decision="genehmigt")
    assert approvers(planned) == {"R. Ash"}
    sign(planned, hashed="0" * 64)
    assert approvers(planned) == {""}
