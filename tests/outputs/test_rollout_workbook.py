"""The run sheets: an overview, a page a wave, and the steps as a table."""

import datetime as dt

import openpyxl
import pytest

from planner.outputs import write_rollout_workbook
from planner.outputs.run_words import STEPS, what
from planner.schedule import STEP_KINDS, Rollout
from tests.outputs.rollouts import LONDON, empty_plan, small_fleet, small_rollout, step, wave

NOW = dt.datetime(2027, 1, 2, 3, 4, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    path = tmp_path_factory.mktemp("rollout") / "rollout.xlsx"
    write_rollout_workbook(small_fleet(), empty_plan(), small_rollout(), path, written_at=NOW)
    return openpyxl.load_workbook(path)


def texts(sheet):
    return "\n".join(str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value is not None)


def test_sheets_in_order(book):
    assert book.sheetnames == ["Overview", "Wave 1", "Wave 2", "Steps", "Conflicts"]


def test_overview_has_claims_waves_and_cautions(book):
    said = texts(book["Overview"])
    for words in (
        "2 waves from 2027-03-13 to 2027-03-21; 1 part of the plan cannot be rolled out yet. "
        "They do 3 steps: 2 moves at 2 sites; 1 host upgraded. Fewer waves are not possible (proven).",
        "The pilot comes first.",
        "Mind the gap.",
    ):
        assert words in said
    assert "Sat 2027-03-13 23:00" in said
    link = next(cell.hyperlink for row in book["Overview"].iter_rows() for cell in row if cell.value == "Wave 2")
    assert link.location == "'Wave 2'!A1"


def test_times_stand_clear_of_the_text_after_them(book):
    times = [cell for row in book["Steps"].iter_rows(min_row=2) for cell in row if cell.is_date]
    assert times
    assert {cell.alignment.horizontal for cell in times} == {"left"}


@pytest.mark.parametrize("part", ["Before", "Steps in order", "After", "Stop the wave", "The way back", "Sign-off"])
def test_run_sheet_has_each_part_on_one_page(book, part):
    sheet = book["Wave 1"]
    assert part in texts(sheet)
    assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 1)
    assert sheet.sheet_properties.pageSetUpPr.fitToPage


def test_every_box_of_a_run_sheet_can_be_ticked(book):
    sheet = book["Wave 1"]
    boxes = {cell.coordinate for (cell,) in sheet.iter_rows(max_col=1) if cell.value == "\u2610"}
    (ticks,) = sheet.data_validations.dataValidation
    listed = {f"A{row}" for area in ticks.sqref.ranges for row in range(area.min_row, area.max_row + 1)}
    assert boxes == listed
    assert ticks.formula1 == '"\u2610,\u2611"'


def test_run_sheet_says_who_where_from_host_to_host(book):
    said = texts(book["Wave 2"])
    for words in ("crew amber", "hub ESK", "ESK-01", "ESK-02", "22:00-22:30 GMT", "22:00-00:00 EDT", "three votes"):
        assert words in said
    assert "healthy" in said
    assert "in sync" in said
    limits = [cell.value for row in book["Wave 2"].iter_rows() for cell in row if "ms" in cell.number_format]
    assert limits.count(40.0) == 1  # the host's release change has no round-trip time


def test_a_wave_of_many_steps_goes_over_pages_that_can_be_read(tmp_path):
    starts = dt.datetime(2027, 3, 20, 22, tzinfo=LONDON)
    rollout = Rollout((wave(1, *(step(n, starts) for n in range(1, 80))),), 1, "")
    write_rollout_workbook(small_fleet(), empty_plan(), rollout, tmp_path / "rollout.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "rollout.xlsx")["Wave 1"]
    assert sheet.page_setup.fitToHeight == 0


def test_steps_are_a_table_with_filters_and_columns_to_fill_in(book):
    sheet = book["Steps"]
    (table,) = sheet.tables.values()
    head, *rows = sheet.iter_rows(values_only=True)
    assert table.ref == f"A1:{openpyxl.utils.get_column_letter(len(head))}4"
    found = [dict(zip(head, row, strict=True)) for row in rows]
    assert [row["step"] for row in found] == ["step 1", "step 2", "step 3"]
    assert found[1]["starts"] == dt.datetime(2027, 3, 20, 22)
    assert (found[1]["time zone"], found[1]["UTC offset"], found[1]["waits for"]) == (
        "Europe/London",
        "+0000",
        "step 1",
    )
    assert {row["status"] for row in found} == {"open"}
    assert all(row[name] is None for row in found for name in ("date", "initials", "remarks"))


def test_texts_of_the_fleet_never_become_formulas(book):
    for sheet in book:
        for row in sheet.iter_rows():
            assert all(cell.data_type != "f" for cell in row)


@pytest.mark.parametrize("kind", STEP_KINDS)
def test_every_kind_of_step_has_words(kind):
    assert STEPS[kind]
    assert what(step(1, dt.datetime(2027, 3, 20, 22, tzinfo=LONDON), kind=kind, host="H", release="8.10"))


def test_nothing_to_do_is_said(tmp_path):
    write_rollout_workbook(small_fleet(), empty_plan(), Rollout((), 0, "Nothing changes."), tmp_path / "rollout.xlsx")
    book = openpyxl.load_workbook(tmp_path / "rollout.xlsx")
    assert book.sheetnames == ["Overview", "Steps"]
    assert "everything is already as planned" in texts(book["Overview"])
