"""What workbooks do to cells: number formats, hidden and merged cells, formulas, wrong dimensions, hostile sizes."""

import datetime as dt
import re
import zipfile

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from planner.intake import read_fleet, xlsx
from planner.intake.looks import is_percent, rendered


def edit_member(source, target, pattern, change):
    """Copy a zip archive with ``change`` applied to the text of the members whose names match ``pattern``."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            new.writestr(name, change(data.decode()) if re.search(pattern, name) else data)
    return target


def edited(path, change):
    """Open a workbook, let ``change`` edit it, save it."""
    book = openpyxl.load_workbook(path)
    change(book)
    book.save(path)
    return path


def test_hidden_rows_columns_and_sheets_are_read(fleet_path, outcome):
    def hide(book):
        book["Sites"].row_dimensions[3].hidden = True
        book["Sites"].column_dimensions["F"].hidden = True
        book["Policy"].sheet_state = "veryHidden"
        book["Sites"]["G3"] = -1

    got = outcome(read_fleet, edited(fleet_path, hide))
    assert got.only("number_limit").where == "Sites!G3"
    edited(fleet_path, lambda book: book["Sites"].__setitem__("G3", 41))
    fleet = read_fleet(fleet_path)
    assert fleet.sites["release"].tolist() == ["8.2", "8.10", "8.2"]
    assert fleet.policy.reserve_percent == 10


def test_blank_rows_are_skipped_and_still_counted(fleet_path, outcome):
    def spread(book):
        book["Sites"].insert_rows(3, 4)
        book["Sites"]["B4"] = " \u00a0"
        book["Sites"]["G8"] = "many"

    got = outcome(read_fleet, edited(fleet_path, spread))
    assert got.codes == {"number_wanted"}
    assert got.only("number_wanted").where == "Sites!G8"


def test_merged_ids_are_one_id_twice(fleet_path, outcome):
    got = outcome(read_fleet, edited(fleet_path, lambda book: book["Sites"].merge_cells("A2:A3")))
    assert [f.where for f in got.of("site_repeated")] == ["Sites!A3"]
    assert "A2:A3" in got.only("merged_cells").message


def test_a_merged_title_above_the_header_is_no_trouble(fleet_path, outcome):
    def head(book):
        book["Sites"].insert_rows(1)
        book["Sites"]["A1"] = "All our sites"
        book["Sites"].merge_cells("A1:G1")

    got = outcome(read_fleet, edited(fleet_path, head))
    assert got.codes == {"rows_above"}
    assert got.fleet.site_ids == ("0001", "0002", "0003")


def test_only_sheets_with_errors_or_unsaved_formulas_are_read_a_second_time(fleet_path, outcome, monkeypatch):
    """One such cell on any sheet made every sheet be read three times, seven times slower than the first."""
    asked, cells = [], xlsx._Details.cells
    monkeypatch.setattr(
        xlsx._Details, "cells", lambda self, titles, **how: asked.append(list(titles)) or cells(self, titles, **how)
    )
    edited(fleet_path, lambda book: book["Sites"].__setitem__("G2", "=20+15"))
    assert outcome(read_fleet, fleet_path).only("formula_unsaved").where == "Sites!G2"
    assert asked[:2] == [["Sites"], ["Sites"]]


def test_a_formula_with_a_saved_result_reads_as_its_result(fleet_path, tmp_path, outcome):
    edited(fleet_path, lambda book: book["Sites"].__setitem__("G2", "=20+15"))
    assert outcome(read_fleet, fleet_path).only("formula_unsaved").where == "Sites!G2"
    saved = edit_member(
        fleet_path,
        tmp_path / "saved.xlsx",
        "worksheets/",
        lambda text: re.sub(r"</f><v ?/?>(</v>)?", "</f><v>35</v>", text),
    )
    assert read_fleet(saved).budgets_ms.tolist() == [35, 40, 40]


def test_a_formula_with_a_saved_empty_text_is_blank(fleet_path, tmp_path, outcome):
    def formulas(book):
        book["Sites"]["B2"] = "=IF(1=1,H2,1)"
        book["Sites"]["C2"] = "=1/0"

    edited(fleet_path, formulas)

    def save(text):
        text = re.sub(r'<c r="B2"[^>]*>(<f>.*?</f>)<v ?/?>(</v>)?', r'<c r="B2" t="str">\1<v></v>', text)
        return re.sub(r'<c r="C2"[^>]*>(<f>.*?</f>)<v ?/?>(</v>)?', r'<c r="C2" t="e">\1<v>#DIV/0!</v>', text)

    got = outcome(read_fleet, edit_member(fleet_path, tmp_path / "saved.xlsx", "sheet1", save))
    assert got.codes == {"cell_error"}
    assert got.only("cell_error").where == "Sites!C2"


def test_an_error_beyond_all_values_is_seen(read, rows):
    rows["Sites"][0].append("owner")
    rows["Sites"].append([None] * 7 + ["#REF!"])
    got = read(rows)
    assert got.only("cell_error").where == "Sites!H5"


@pytest.mark.parametrize("claim", ["A1", "A1:XFD1048576"])
def test_a_wrong_dimension_is_not_believed(fleet_path, tmp_path, outcome, claim):
    edited(fleet_path, lambda book: setattr(book["Sites"]["F2"], "value", 8.2))
    edited(fleet_path, lambda book: setattr(book["Sites"]["F2"], "number_format", "0.00"))
    path = edit_member(
        fleet_path,
        tmp_path / "claims.xlsx",
        "worksheets/",
        lambda text: re.sub('<dimension ref="[^"]*"', f'<dimension ref="{claim}"', text),
    )
    assert read_fleet(path).sites["release"].tolist() == ["8.20", "8.10", "8.2"]


def test_styled_blank_cells_far_away_take_no_room(fleet_path, outcome):
    def style(book):
        book["Sites"]["XFD1"].number_format = "0.00"
        book["Sites"]["A1048576"].number_format = "0.00"
        book["Sites"]["XFD1048576"].number_format = "0.00"

    got = outcome(read_fleet, edited(fleet_path, style))
    assert got.codes == set()
    assert len(got.fleet.sites) == 3


def test_one_value_in_the_last_corner_is_refused(fleet_path, outcome):
    edited(fleet_path, lambda book: book["Latency"].__setitem__("XFD1048576", 1))
    got = outcome(read_fleet, fleet_path)
    assert got.codes == {"file_too_big"}
    assert "1048576 rows and 16384 columns" in got.findings[0].message


def test_rows_beyond_the_last_are_refused(fleet_path, tmp_path, outcome):
    path = edit_member(
        fleet_path,
        tmp_path / "long.xlsx",
        "sheet1",
        lambda t: t.replace('r="A4"', "r='A9999999'").replace('"4"', '"9999999"'),
    )
    assert outcome(read_fleet, path).codes == {"file_too_big"}


def test_a_far_cell_is_found_however_its_address_is_written(fleet_path, tmp_path, outcome):
    edited(fleet_path, lambda book: book["Latency"].__setitem__("XFD1048576", 1))
    path = edit_member(
        fleet_path, tmp_path / "odd.xlsx", "worksheets/", lambda t: t.replace('r="XFD1048576"', "r = 'xfd1048576'")
    )
    assert outcome(read_fleet, path).codes == {"file_too_big"}


def test_long_sheets_and_wide_sheets_are_not_too_big(fleet_path, outcome):
    edited(fleet_path, lambda book: book["Latency"].__setitem__("A150000", "0001"))
    edited(fleet_path, lambda book: book["Sites"].__setitem__("AAA1", "remark"))
    got = outcome(read_fleet, fleet_path)
    assert got.codes == {"column_unknown"}
    assert got.only("column_unknown").where == "Sites!AAA1"


def test_a_workbook_with_a_chart_sheet_is_read(fleet_path, outcome):
    edited(fleet_path, lambda book: book.create_chartsheet("Chart"))
    assert outcome(read_fleet, fleet_path).codes == set()


def test_dates_and_truth_values_come_from_their_cells(read, rows):
    rows["Sites"][0] += ["opens", "closes", "own_tie_breaker", "timezone", "window"]
    rows["Sites"][1] += [
        dt.date(2026, 3, 31),
        "2031-12-31",
        True,
        "Europe/London",
        "sunday 22:00 - 4:00; wed 01:00-05:00",
    ]
    rows["Sites"][2] += [None, dt.datetime(9999, 12, 31), "N", None, None]
    rows["Policy"].append(["split_sites", True])
    fleet = read(rows).fleet
    assert fleet.sites["opens"][0] == dt.datetime(2026, 3, 31)
    assert [d.year for d in fleet.sites["closes"][:2]] == [2031, 9999]
    assert fleet.sites["own_tie_breaker"].tolist() == ["yes", "no", ""]
    assert fleet.sites["window"][0] == "Sun 22:00-04:00; Wed 01:00-05:00"
    assert fleet.policy.split_sites is True


def test_dates_of_the_1904_system(read, rows, fleet_path):
    def use_1904(book):
        book.epoch = CALENDAR_MAC_1904
        book["Sites"]["H1"], book["Sites"]["H2"] = "opens", dt.date(2026, 3, 31)

    assert read_fleet(edited(fleet_path, use_1904)).sites["opens"][0] == dt.datetime(2026, 3, 31)


def test_a_workbook_that_only_one_of_the_libraries_reads(fleet_path, tmp_path, outcome):
    edited(fleet_path, lambda book: book["Sites"].__setitem__("F2", 8.1))
    edited(fleet_path, lambda book: setattr(book["Sites"]["F2"], "number_format", "0.00"))

    def spoil(path, name):
        return edit_member(
            path, tmp_path / name, "styles", lambda t: t.replace('patternType="gray125"', 'patternType="?"')
        )

    assert read_fleet(fleet_path).sites["release"][0] == "8.10"
    assert outcome(read_fleet, spoil(fleet_path, "no_formats.xlsx")).codes == {"release_number"}
    edited(fleet_path, lambda book: book["Sites"].__setitem__("G2", "=1+1"))
    assert outcome(read_fleet, spoil(fleet_path, "odd.xlsx")).codes == {"file_damaged"}


def test_optional_sheets_may_be_blank_or_have_a_header_only(read, rows):
    rows |= {"Samples": [], "Links": [["from", "to", "km"]], "Current": [[None]]}
    got = read(rows)
    assert got.codes == set()
    assert len(got.fleet.links) == len(got.fleet.samples) == 0


def test_percentages_count_as_shown(read, rows):
    rows["Policy"] = [["setting", "value"], ["reserve_percent", (0.07, "0%")], ["max_loss_percent", (2, '0"%"')]]
    rows["Latency"] = [
        ["site", "hub", "rtt_ms", "loss_percent"],
        ["0001", "ESK", 9, (0.005, "0.0%")],
        ["0002", "ESK", 9, 0.5],
        ["0003", "ESK", 9, "0.5 %"],
    ]
    fleet = read(rows).fleet
    assert fleet.policy.reserve_percent == 7
    assert fleet.policy.max_loss_percent == 2
    assert fleet.latency["loss_percent"].tolist() == [0.5, 0.5, 0.5]


@pytest.mark.parametrize(
    ("number_format", "value", "shown"),
    [
        ("0.00", 8.1, "8.10"),
        ("0.0", 8.0, "8.0"),
        ("0.0;[Red]-0.0", 8.1, "8.1"),
        ("0.0_ ", 8.1, "8.1"),
        ("#0.0", 8.1, "8.1"),
        ("0000", 42.0, "0042"),
        ("0", 8.1, None),  # hides the fraction
        ("0.0", 8.25, None),
        ("General", 8.1, None),
        ("@", 8.1, None),
        ("0.0#", 8.1, None),
        ('"v"0.0', 8.1, None),
        ("#,##0", 1234.0, None),
        ("0.0", -8.1, None),
    ],
)
def test_number_format_settles_the_digits(number_format, value, shown):
    assert rendered(value, number_format) == shown


def test_percent_formats_are_told_from_a_percent_sign_in_text():
    assert [is_percent(f) for f in ("0%", "0.00%;[Red]-0.00%", '0" %"', "0\\%", "General")] == [True, True] + [
        False
    ] * 3
