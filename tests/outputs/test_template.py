"""The empty fleet workbook: complete, explained, safe to plan by accident, and readable once filled in."""

import datetime as dt

import openpyxl
import pytest

from planner import columns
from planner.errors import InputError
from planner.fleet import Policy
from planner.intake import read_fleet
from planner.outputs import write_template


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    path = tmp_path_factory.mktemp("template") / "fleet.xlsx"
    write_template(path)
    return path


@pytest.fixture
def book(path):
    return openpyxl.load_workbook(path)


def enter(sheet, row=2, **values):
    """Type values as a user would: into blank cells, which take the format of their column."""
    letters = {cell.value: cell.column_letter for cell in sheet[1]}
    for heading, value in values.items():
        cell = sheet[f"{letters[heading]}{row}"]
        cell.value = value
        cell.number_format = sheet.column_dimensions[letters[heading]].number_format


def set_policy(book, setting, value):
    next(row for row in book["Policy"].iter_rows() if row[0].value == setting)[1].value = value


def test_every_sheet_is_there_with_every_column_and_nothing_else(book):
    assert book.sheetnames == ["How to fill in", *(sheet.name for sheet in columns.SHEETS)]
    for sheet in columns.SHEETS[:-1]:
        assert [cell.value for cell in book[sheet.name][1]] == list(sheet.names)
        assert book[sheet.name].max_row == 1


def test_policy_lists_every_setting_with_its_default_and_meaning(book):
    rows = [[cell.value for cell in row] for row in book["Policy"].iter_rows(min_row=2)]
    assert rows == [[s.name, s.default, s.default, s.unit or None, s.meaning] for s in columns.SETTINGS]


def test_every_heading_bears_a_note_with_its_meaning_and_what_a_blank_means(book):
    for sheet in columns.SHEETS[:-1]:
        for column, cell in zip(sheet.columns, book[sheet.name][1], strict=True):
            note = cell.comment.text
            assert column.meaning in note
            assert column.unit in note
            assert ("Required." in note) == column.required
            if column.example != "":
                assert f"Example: {column.example}" in note


def test_first_sheet_explains_every_column_and_setting_with_an_example(book):
    sheet = book["How to fill in"]
    rows = {(row[0].value, row[1].value): [cell.value for cell in row] for row in sheet.iter_rows(min_row=2)}
    for part in columns.SHEETS:
        for column in columns.SETTINGS if part is columns.POLICY else part.columns:
            row = rows[part.name, column.name]
            assert column.meaning == row[3]
            assert row[7] == (column.example if column.example != "" else None)
    assert rows["Latency", "(the sheet)"][4].startswith("a list of pairs as headed here; or a matrix")


@pytest.mark.parametrize(
    ("sheet", "heading", "number_format"),
    [
        ("Sites", "site", "@"),
        ("Sites", "release", "@"),
        ("Sites", "barred_hubs", "@"),
        ("Sites", "tie_breaker_net", "@"),
        ("Sites", "opens", "yyyy-mm-dd"),
        ("Hubs", "hub", "@"),
        ("Hubs", "host_release", "@"),
        ("Latency", "site", "@"),
        ("Latency", "measured_at", "yyyy-mm-dd hh:mm"),
        ("Current", "host", "@"),
    ],
)
def test_whole_columns_have_the_format_that_keeps_what_is_typed(book, sheet, heading, number_format):
    letter = next(cell.column_letter for cell in book[sheet][1] if cell.value == heading)
    assert book[sheet].column_dimensions[letter].number_format == number_format


def test_choices_are_drop_downs_in_every_row_and_setting(book):
    def lists(sheet):
        return {str(v.sqref): v.formula1 for v in book[sheet].data_validations.dataValidation if v.type == "list"}

    assert lists("Sites") == {"O2:O1048576": '"yes,no,possible"', "S2:S1048576": '"direct,switched"'}
    numbers = {f"B{n}": s for n, s in enumerate(columns.SETTINGS, start=2) if s.choices}
    assert lists("Policy") == {cell: f'"{",".join(setting.choices)}"' for cell, setting in numbers.items()}


def test_numbers_beyond_their_limits_are_warned_of(book):
    found = {str(v.sqref): v for v in book["Sites"].data_validations.dataValidation}
    latitude = found["E2:E1048576"]
    assert (latitude.type, latitude.operator, latitude.formula1, latitude.formula2) == (
        "decimal",
        "between",
        "-90",
        "90",
    )
    budget = found["I2:I1048576"]
    assert (budget.operator, budget.formula1, budget.errorStyle) == ("greaterThan", "0", "warning")
    assert budget.showErrorMessage


def test_empty_template_plans_nothing(path):
    with pytest.raises(InputError) as caught:
        read_fleet(path)
    assert {f.where.split("!")[0] for f in caught.value.findings if f.severity == "error"} <= {
        "Sites",
        "Hubs",
        "Latency",
    }


def test_filled_template_reads_as_it_was_typed(path, book, tmp_path):
    enter(
        book["Sites"],
        site="0042",
        name="Alder Street",
        release="8.10",
        clusters=2,
        own_tie_breaker="possible",
        node_link="direct",
        window="Sun 22:00-04:00",
        opens=dt.date(2027, 3, 1),
        zone="power-north; wan-a",
    )
    enter(book["Sites"], row=3, site="0107")
    enter(book["Hubs"], hub="ESK", host_release="8.20", max_hosts=4)
    enter(book["Latency"], site="0042", hub="ESK", rtt_ms=18.4, measured_at=dt.datetime(2026, 11, 2, 9, 30))
    enter(book["Current"], site="0042", hub="ESK", host="ESK-01")
    set_policy(book, "latency_budget_ms", 40)
    set_policy(book, "host_release_rule", "same_major")
    set_policy(book, "split_sites", "yes")
    book.save(tmp_path / "filled.xlsx")

    fleet = read_fleet(tmp_path / "filled.xlsx")
    assert fleet.site_ids == ("0042", "0107")
    first = fleet.sites.iloc[0]
    assert (first["release"], first["zone"], first["window"]) == ("8.10", ("power-north", "wan-a"), "Sun 22:00-04:00")
    assert first["opens"] == dt.datetime(2027, 3, 1)
    assert fleet.host_releases == ("8.20",)
    assert fleet.latency["rtt_ms"].tolist() == [18.4]
    assert fleet.current["host"].tolist() == ["ESK-01"]
    assert fleet.policy == Policy(latency_budget_ms=40.0, host_release_rule="same_major", split_sites=True)
    # The first sheet and the explaining columns of Policy are news, nothing more.
    assert {f.severity for f in fleet.findings if "Policy" in f.where or "How" in f.where} == {"info"}


def test_matrix_of_latencies_may_take_the_place_of_the_list(book, tmp_path):
    enter(book["Sites"], site="0042")
    enter(book["Hubs"], hub="ESK")
    enter(book["Hubs"], row=3, hub="ROV")
    del book["Latency"]
    matrix = book.create_sheet("Latency")
    for row in (["site", "ESK", "ROV"], ["0042", 18.4, None]):
        matrix.append(row)
    set_policy(book, "latency_budget_ms", 40)
    book.save(tmp_path / "filled.xlsx")
    assert read_fleet(tmp_path / "filled.xlsx").latency[["hub", "rtt_ms"]].values.tolist()[0] == ["ESK", 18.4]


def test_untouched_policy_of_the_template_is_the_default_policy(path, book, tmp_path):
    enter(book["Sites"], site="a", latency_budget_ms=40)
    enter(book["Hubs"], hub="ESK")
    enter(book["Latency"], site="a", hub="ESK", rtt_ms=1)
    book.save(tmp_path / "filled.xlsx")
    assert read_fleet(tmp_path / "filled.xlsx").policy == Policy()
