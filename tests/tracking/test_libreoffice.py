"""A workbook that a team filled in and saved with LibreOffice comes back without loss."""

import datetime as dt
import shutil
import subprocess

import openpyxl
import pytest
from openpyxl.comments import Comment

from planner.outputs import read_plan, write_rollout_workbook, write_workbook
from planner.outputs.progress_workbook import write_progress_workbook
from planner.outputs.read_returned import read_copies
from planner.sizing import plan as make_plan
from planner.tracking import merged, track
from tests.how_many import ALL_SAMPLES
from tests.outputs.rollouts import empty_plan, small_fleet, small_rollout
from tests.sizing.test_from_today import invented

SOFFICE = shutil.which("soffice")
pytestmark = [
    pytest.mark.skipif(SOFFICE is None, reason="LibreOffice is not installed"),
    pytest.mark.filterwarnings("ignore::UserWarning:openpyxl"),
]
TODAY = dt.date(2027, 3, 31)
REMARKS = ("=not a formula", "0042", "two\nlines", 'Ä, ö; "quoted" & <tagged>', "-", "8.10", "1/2", "TRUE", "  ")
NAMES = ("plan", "rollout", "merged")
KINDS = ("xlsx", "ods") if ALL_SAMPLES else ("xlsx",)


@pytest.fixture(scope="module")
def planned():
    fleet = invented(2, sites=30, hubs=3, cap=8)
    return fleet, make_plan(fleet)


def _fill(path, sheet_name):
    """Type into every column of the team, a column of one's own, and another sheet."""
    book = openpyxl.load_workbook(path)
    sheet = book[sheet_name]
    letter = {cell.value: cell.column_letter for cell in sheet[1]}
    for number, remark in enumerate(REMARKS):
        row = 2 + number % (sheet.max_row - 1)
        sheet[f"{letter['status']}{row}"] = ("done", "blocked", "planned")[number % 3]
        sheet[f"{letter['date']}{row}"] = dt.date(2027, 3, 1 + number)
        sheet[f"{letter['initials']}{row}"] = "007"
        cell = sheet[f"{letter['remarks']}{row}"]
        cell.value, cell.data_type = remark, "s"
        sheet.cell(row, len(letter) + 2).value = 12.5 + number
    sheet.cell(1, len(letter) + 2).value = "hours"
    book.worksheets[0]["J40"] = "called on Monday"
    book.save(path)


@pytest.fixture(scope="module")
def folders(planned, tmp_path_factory):
    """Workbooks as a team left them, and each as LibreOffice saves it, as .xlsx and as .ods."""
    fleet, plan = planned
    before, after = tmp_path_factory.mktemp("before"), tmp_path_factory.mktemp("after")
    write_workbook(fleet, plan, before / "plan.xlsx")
    _fill(before / "plan.xlsx", "Assignments")
    write_rollout_workbook(small_fleet(), empty_plan(), small_rollout(), before / "rollout.xlsx")
    _fill(before / "rollout.xlsx", "Steps")
    whole = merged(read_copies([before / "plan.xlsx"]))
    source = [before / "plan.xlsx"]
    found = track(fleet, plan, whole, TODAY)
    write_progress_workbook(source, read_copies(source), whole, found, before / "merged.xlsx")
    profile = tmp_path_factory.mktemp("profile").as_uri()
    for kind in KINDS:
        command = [SOFFICE, f"-env:UserInstallation={profile}", "--headless", "--convert-to", kind, "--outdir", after]
        files = sorted(before.glob("*.xlsx"))
        subprocess.run([*command, *files], check=True, capture_output=True, timeout=120)
    return before, after


def plain(path):
    """Rows and other cells of a copy, in texts; a date without its midnight."""
    (copy,) = read_copies([path])
    rows = [{k: str(c.value).removesuffix(" 00:00:00") for k, c in row.items()} for row in (*copy.rows, *copy.steps)]
    return rows, copy.others


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", NAMES)
def test_every_cell_comes_back(folders, name, kind):
    before, after = folders
    rows, others = plain(before / f"{name}.xlsx")
    rows_after, others_after = plain(after / f"{name}.{kind}")
    assert rows_after == rows
    assert others_after == others
    if name != "rollout":
        assert others["Summary!J40"] == "called on Monday"
        assert {row["hours"] for row in rows} > {"12.5", "13.5"}


@pytest.mark.parametrize("kind", KINDS)
def test_copies_saved_by_libreoffice_merge_without_a_clash(folders, planned, kind):
    before, after = folders
    fleet, plan = planned
    whole = merged(read_copies([before / "plan.xlsx", after / f"plan.{kind}"]))
    assert whole.clashes == ()
    alone = merged(read_copies([before / "plan.xlsx"]))
    assert track(fleet, plan, whole, TODAY) == track(fleet, plan, alone, TODAY)
    assert read_plan(after / f"plan.{kind}").assignments == read_plan(before / "plan.xlsx").assignments


def test_comments_of_an_ods_copy_stand_at_the_same_row(folders, planned, tmp_path):
    """They were lost without a word."""
    before, _ = folders
    fleet, plan = planned
    book = openpyxl.load_workbook(before / "plan.xlsx")
    book["Assignments"]["R4"].comment = Comment("gate code\nchanged", "team")
    book["Assignments"].insert_rows(2)
    book["Summary"]["K3"].comment = Comment("is this so?", "team")
    book.save(tmp_path / "back.xlsx")
    profile = (tmp_path / "profile").as_uri()
    command = [SOFFICE, f"-env:UserInstallation={profile}", "--headless", "--convert-to", "ods", "--outdir", tmp_path]
    subprocess.run([*command, tmp_path / "back.xlsx"], check=True, capture_output=True, timeout=120)
    paths = [before / "plan.xlsx", tmp_path / "back.ods"]
    copies = read_copies(paths)
    whole = merged(copies)
    write_progress_workbook(paths, copies, whole, track(fleet, plan, whole, TODAY), tmp_path / "merged.xlsx")
    kept = openpyxl.load_workbook(tmp_path / "merged.xlsx")
    said = {cell.comment.text for sheet in kept for row in sheet for cell in row if cell.comment is not None}
    assert said == {"gate code\nchanged", "is this so?"}


def test_picture_of_the_merged_workbook_survives(folders):
    _, after = folders
    assert len(openpyxl.load_workbook(after / "merged.xlsx")["Burn-down"]._charts) == 1
