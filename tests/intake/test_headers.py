"""Sheets and columns are found by any of their names, in any order; forms of the Latency sheet."""

import random

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.columns import SETTINGS, SHEETS
from planner.intake import fleet_from_tables
from planner.intake.names import column_of, plain, sheet_of


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_every_name_and_alias_stands_for_its_sheet_and_column(sheet):
    spellings = (str.upper, str.title, lambda s: s.replace("_", " "), lambda s: f"\u00a0{s.replace('_', '-')} *")
    for name in (sheet.name, *sheet.aliases):
        assert all(sheet_of(spell(name)) is sheet for spell in spellings)
    for column in sheet.columns:
        for name in (column.name, *column.aliases):
            assert all(column_of(spell(name), sheet) is column for spell in spellings), name


@pytest.mark.parametrize("sheet", [*SHEETS, None], ids=lambda sheet: getattr(sheet, "name", "settings"))
def test_no_two_columns_share_a_name(sheet):
    columns = SETTINGS if sheet is None else sheet.columns
    names = [plain(name) for column in columns for name in (column.name, *column.aliases)]
    assert len(names) == len(set(names))


def test_aliases_units_in_brackets_and_any_case(read, rows):
    rows = {"BRANCHES": rows["Sites"], "Data-Centre": [], "host pools": rows["Hubs"], "Settings": rows["Policy"]}
    rows.pop("Data-Centre")
    rows["BRANCHES"][0] = [
        "Store ID",
        "Branch Name",
        "REGION",
        "Lat",
        "long",
        "Software-Version",
        "Latency budget (ms)",
    ]
    rows["Round trip times"] = [["Branch", "Data Centre", "RTT [ms]"], ["0001", "ESK", 5]]
    rows["Settings"][0] = ["Name", "Value"]
    rows["Settings"][2][0] = "Reserve percent"
    got = read(rows)
    assert got.codes == {"columns_matched"}
    assert got.fleet.policy.reserve_percent == 10
    assert got.fleet.latency["rtt_ms"].tolist() == [5]


def test_own_columns_follow_under_their_header_with_their_values(read, rows):
    rows["Sites"][0] += ["Wing / floor", "rent"]
    rows["Sites"][1] += ["=east", 12.5]
    rows["Sites"][1][-2] = "east"
    rows["Latency"] = [["site", "hub", "rtt_ms", "probe"], ["0001", "ESK", 5, "p1"]]
    fleet = read(rows).fleet
    assert fleet.sites.columns.tolist()[-2:] == ["Wing / floor", "rent"]
    assert fleet.sites["Wing / floor"].tolist() == ["east", "", ""]
    assert fleet.sites["rent"].tolist()[0] == 12.5
    assert fleet.latency["probe"].tolist() == ["p1"]


def test_a_hub_may_be_called_like_a_column(read, rows):
    rows["Hubs"][1][0], rows["Hubs"][2][0] = "hub", "latency"
    rows["Latency"] = [["site", "hub", "latency"], ["0001", 5, 6]]
    got = read(rows)
    assert got.codes == set()
    assert got.fleet.latency["hub"].tolist() == ["hub", "latency"]


def test_hubs_with_numbers_as_names_in_a_matrix(read, rows):
    rows["Hubs"][1][0], rows["Hubs"][2][0] = "10", "20"
    rows["Latency"] = [["site", 10, 20.0], ["0001", 5, 6]]
    got = read(rows)
    assert got.codes == set()
    assert got.fleet.latency["hub"].tolist() == ["10", "20"]


def test_rows_without_any_figure_are_left_out_and_costs_without_rtt_kept(read, rows):
    rows["Latency"] = [
        ["site", "hub", "rtt_ms", "pair_cost", "loss_percent"],
        ["0001", "ESK", None, None, None],
        ["0001", "ROV", None, 100, None],
        ["0002", "ESK", None, None, 3],
        ["0002", "ROV", 4, None, None],
    ]
    latency = read(rows).fleet.latency
    assert list(zip(latency["site"], latency["hub"], strict=True)) == [
        ("0001", "ROV"),
        ("0002", "ESK"),
        ("0002", "ROV"),
    ]


def test_notes_beside_settings_are_no_matter(read, rows):
    rows["Policy"] = [["setting", "value", "why"], ["cluster_cap", 32, "common practice"], ["cover", None, "later"]]
    got = read(rows)
    assert got.codes == set()
    assert got.fleet.policy.cluster_cap == 32


def test_a_cell_of_blanks_means_an_unknown_round_trip_time(read, rows):
    rows["Latency"][1][1] = " \u00a0"
    rows["Latency"][2][1] = None
    got = read(rows)
    assert got.codes == set()
    assert len(got.fleet.latency) == 4


def test_a_matrix_that_starts_in_the_second_column(read, rows):
    rows["Latency"] = [[None, *row] for row in rows["Latency"]]
    rows["Latency"][0][1] = None
    got = read(rows)
    assert got.codes == {"matrix_corner", "columns_matched"}
    assert got.only("matrix_corner").where == "Latency!B1"
    assert len(got.fleet.latency) == 6


def as_frames(rows):
    return {name: pd.DataFrame(cells[1:], columns=cells[0]) for name, cells in rows.items()}


def by_id(fleet):
    """What a fleet says, whatever the order of its rows."""
    tables = []
    for table, keys in ((fleet.sites, ["site"]), (fleet.pools, ["pool"]), (fleet.latency, ["site", "hub"])):
        plain_ids = table.assign(**{key: table[key].astype(str) for key in keys})
        tables.append(plain_ids.sort_values(keys).reset_index(drop=True))
    return tables


@given(seed=st.integers(0, 2**32), form=st.sampled_from(["matrix", "list"]))
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_shuffled_rows_and_columns_give_the_same_fleet(rows, seed, form):
    frames = as_frames(rows)
    if form == "list":
        frames["Latency"] = frames["Latency"].melt("site", var_name="hub", value_name="rtt_ms")
    shuffle = random.Random(seed)
    mixed = {}
    for name in shuffle.sample(list(frames), len(frames)):
        frame = frames[name].sample(frac=1, random_state=seed % 2**32)
        mixed[name] = frame[shuffle.sample(list(frame.columns), frame.shape[1])]
    for one, other in zip(by_id(fleet_from_tables(frames)), by_id(fleet_from_tables(mixed)), strict=True):
        pd.testing.assert_frame_equal(one, other, check_categorical=False)
