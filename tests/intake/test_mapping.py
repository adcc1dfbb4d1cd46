"""Mapping files: what was found is written down, and what is written down is read."""

import tomllib

import openpyxl
import pytest

from planner.errors import InputError
from planner.intake import inspect_fleet, mapping_text, read_fleet

MAPPING = """
[Sites]
sheet = "Stores"
header_row = 2
ignore = ["Remarks"]
[Sites.columns]
site = "Shop"
latency_budget_ms = "=C"
[Sites.units]
latency_budget_ms = "s one way"
"""


@pytest.fixture
def odd_rows(rows):
    rows["Stores"] = [
        ["made in May"],
        ["Shop", "Code", "Limit", "Remarks"],
        ["0001", "x", 0.02, ""],
        ["0002", "y", 0.02, "old"],
    ]
    rows["Latency"] = [["site", "ESK"], ["0001", 5], ["0002", 6]]
    return rows


@pytest.fixture
def with_mapping(tmp_path, writers):
    def read(rows, text):
        (tmp_path / "m.toml").write_text(text, encoding="utf-8")
        return inspect_fleet(writers["xlsx"](tmp_path / "fleet.xlsx", rows), tmp_path / "m.toml")

    return read


def test_a_mapping_pins_sheet_header_columns_and_units(odd_rows, with_mapping):
    inspection = with_mapping(odd_rows, MAPPING)
    assert inspection.fleet is not None, inspection.findings
    assert inspection.fleet.site_ids == ("0001", "0002")
    assert inspection.fleet.budgets_ms.tolist() == [40, 40]
    assert inspection.fleet.sites["Code"].tolist() == ["x", "y"]
    assert "Remarks" not in inspection.fleet.sites


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("[Sites", "mapping_broken", "no TOML"),
        ("\x00", "mapping_broken", "no TOML"),
        ("[Stores2]\nsheet = 'x'", "mapping_unknown", "[Stores2]"),
        ("Sites = 3", "mapping_unknown", "[Sites]"),
        ("[Sites]\nheader = 3", "mapping_unknown", "header_row"),
        ("[Sites]\nheader_row = 0", "mapping_unknown", "above 0"),
        ("[Sites]\nheader_row = 'two'", "mapping_unknown", "above 0"),
        ("[Sites.columns]\nsyte = 'x'", "mapping_unknown", "did you mean site"),
        ("[Sites.columns]\nsite = 3", "mapping_unknown", "text"),
        ("[Sites.units]\nlatency_budget_ms = 'parsec'", "mapping_unknown", "no unit"),
        ("[Sites]\nsheet = 'Nowhere'", "mapping_sheet", "Nowhere"),
        ("[Sites.columns]\nname = 'Nowhere'", "mapping_header", "Nowhere"),
        ("[Hubs.columns]\nhub = '=Z'", "mapping_header", "=Z"),
    ],
)
def test_what_is_wrong_with_a_mapping_is_named(rows, with_mapping, text, code, words):
    inspection = with_mapping(rows, text)
    assert inspection.fleet is None
    found = [f for f in inspection.findings if f.code == code]
    assert words in found[0].message


def test_a_header_that_is_there_twice_is_asked_for_by_letter(rows, with_mapping):
    rows["Sites"][0] += ["Code", "Code"]
    codes = {f.code for f in with_mapping(rows, "[Sites.columns]\nowner = 'Code'").findings}
    assert "mapping_header_twice" in codes


def test_a_missing_mapping_file_is_a_wrong_call(fleet_path):
    with pytest.raises(InputError, match="mapping file cannot be read"):
        read_fleet(fleet_path, "nowhere.toml")


def test_what_is_written_reads_the_same(odd_rows, with_mapping, tmp_path):
    odd_rows.pop("Sites")
    odd_rows["Stores"][1] = ["Store ID", "Code", "Budget one way [s]", "Remarks"]
    odd_rows["Hubs"] += [[], *odd_rows.pop("Policy")]
    first = with_mapping(odd_rows, "")
    text = mapping_text(first.layout)
    assert {"Sites", "Hubs", "Latency", "Policy"} == tomllib.loads(text).keys()
    again = with_mapping(odd_rows, text)
    assert again.fleet is not None, again.findings
    assert again.fleet.budgets_ms.tolist() == first.fleet.budgets_ms.tolist() == [40, 40]
    assert again.fleet.policy == first.fleet.policy
    assert not any(f.code == "sheet_by_content" for f in again.findings)


def test_headers_of_two_rows_are_written_and_read(tmp_path, fleet_path):
    book = openpyxl.load_workbook(fleet_path)
    book["Sites"].insert_rows(2)
    book["Sites"]["G2"] = "ms"
    book.save(fleet_path)
    (tmp_path / "m.toml").write_text(mapping_text(inspect_fleet(fleet_path).layout), encoding="utf-8")
    assert "header_rows = 2" in (tmp_path / "m.toml").read_text(encoding="utf-8")
    assert read_fleet(fleet_path, tmp_path / "m.toml").budgets_ms.tolist() == [40, 40, 40]


def test_a_column_of_a_name_that_the_mapping_gives_to_another_is_handed_through(rows, with_mapping):
    rows["Sites"][0][1] = "latitude"
    rows["Sites"][0][3] = "Breite"
    fleet = with_mapping(rows, "[Sites.columns]\nlatitude = 'Breite'").fleet
    assert fleet.sites["latitude"].tolist() == [54.9, 54.5, 51.4]
    assert fleet.sites["latitude (not used)"].tolist() == ["Alder Street", "Birch Lane", "Cedar Road"]


def test_pinned_headers_tell_where_the_header_is(rows, with_mapping):
    rows["Latency"] = [["Wo", "Wohin", "Messung"], ["0001", "ESK", 5], ["0002", "ROV", 6]]
    inspection = with_mapping(rows, '[Latency.columns]\nsite = "Wo"\nhub = "wohin"\nrtt_ms = "Messung"')
    assert inspection.fleet is not None, inspection.findings
    assert inspection.fleet.latency["rtt_ms"].tolist() == [5, 6]


@pytest.mark.parametrize(
    ("head", "mapping"),
    [
        (["site", "hub", "Messung"], '[Latency.columns]\nrtt_ms = "Messung"'),
        (["site", "hub", "Messung"], '[Latency.columns]\nrtt_ms = "=C"\n[Latency.units]\nrtt_ms = "s"'),
        (
            ["Wo", "Wohin", "Messung"],
            '[Latency]\nheader_row = 1\n[Latency.columns]\nsite = "Wo"\nhub = "Wohin"\nrtt_ms = "Messung"',
        ),
    ],
)
def test_a_zero_is_unknown_also_where_a_mapping_pins_the_column(rows, with_mapping, head, mapping):
    rows["Latency"] = [head, ["0001", "ESK", 0], ["0001", "ROV", 0.031], ["0002", "ESK", "0,0"]]
    inspection = with_mapping(rows, mapping)
    assert inspection.fleet is not None, inspection.findings
    assert list(inspection.fleet.latency["hub"]) == ["ROV"]
    (finding,) = [f for f in inspection.findings if f.code == "rtt_zero"]
    assert "2 cells (C2, C4)" in finding.message


def test_a_column_that_a_mapping_ignores_keeps_its_zeros(rows, with_mapping):
    rows["Latency"] = [["site", "hub", "rtt_ms", "rtt"], ["0001", "ESK", 0, 5]]
    inspection = with_mapping(rows, '[Latency]\nignore = ["rtt_ms"]\n[Latency.columns]\nrtt_ms = "rtt"')
    assert inspection.fleet is not None, inspection.findings
    assert inspection.fleet.latency["rtt_ms"].tolist() == [5]
    assert "rtt_zero" not in {f.code for f in inspection.findings}
