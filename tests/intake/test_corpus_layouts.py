"""Sheets as people lay them out: the fleet that each must give, and its findings."""

# ruff: noqa: E501 (tables read best with one case in a line)

import openpyxl
import pytest

from planner.intake import read_fleet


def head(*rows, sheet="Sites"):
    """Put rows above those of a sheet."""
    return lambda r: r[sheet].__setitem__(slice(0, 0), [list(row) for row in rows])


def header(sheet, *names):
    return lambda r: r[sheet].__setitem__(0, list(names))


def rename(old, new):
    return lambda r: r.update({new: r.pop(old)})


def append(sheet, *rows):
    return lambda r: r[sheet].extend(list(row) for row in rows)


def beside(sheet, *rows):
    def change(r):
        width = max(map(len, r[sheet])) + 1
        r[sheet].extend([] for _ in range(len(rows) - len(r[sheet])))
        for row, more in zip(r[sheet], rows, strict=False):
            row.extend([None] * (width - len(row)))
            row.extend(more)

    return change


def move(source, target):
    return lambda r: r[target].extend([[], *r.pop(source)])


SITES = ("site", "name", "region", "latitude", "longitude", "release", "latency_budget_ms")
GROUPS = ("", "Identity", "", "Where", "", "", "Latency budget")
UNITS = ("", "", "", "", "", "", "[ms]")
HUB_ROWS = (["hub", "max_hosts", "host_release"], ["ESK", 4, "8.10"], ["ROV", 4, "8.10"])

# (situation, changes of the sound fleet, codes that must come)
SOUND = [
    ("title_above", [head(["Our sites"])], {"rows_above"}),
    ("title_and_blank_row_above", [head(["Our sites"], [], ["As of May, final"])], {"rows_above"}),
    ("title_and_blank_row_right_above", [head(["Our sites"], [])], {"rows_above"}),
    ("six_rows_above", [head(*[[f"note {i}"] for i in range(6)])], {"rows_above"}),
    ("units_below_the_header", [lambda r: r["Sites"].insert(1, list(UNITS))], {"header_two_rows"}),
    ("groups_above_units", [header("Sites", *SITES[:6], "ms"), head(GROUPS)], {"header_two_rows"}),
    ("groups_that_add_nothing", [head(("", "Identity", "", "Where"))], {"rows_above"}),
    ("matrix_below_a_merged_name", [header("Latency", "", "ESK", "ROV"), head(["Site", "RTT (ms)", ""], sheet="Latency")], {"header_two_rows"}),
    ("matrix_below_a_title", [head(["RTT"], sheet="Latency")], {"rows_above"}),
    ("matrix_with_units_in_headers", [header("Latency", "site", "ESK (ms)", "ROV [ms]")], set()),
    ("matrix_corner_blank", [header("Latency", "", "ESK", "ROV")], {"matrix_corner"}),
    ("header_again_below", [lambda r: r["Sites"].insert(3, list(SITES))], {"header_again"}),
    ("header_again_after_a_blank_row", [lambda r: r["Sites"].__setitem__(slice(3, 3), [[], list(SITES)])], {"header_again"}),
    ("total_at_the_end", [append("Sites", ["Total", None, None, None, None, None, 120])], {"total_row"}),
    ("total_frozen_below_the_header", [lambda r: r["Sites"].insert(1, ["Total", None, None, None, None, None, 120])], {"total_row"}),
    ("subtotal_between", [lambda r: r["Latency"].insert(2, ["Subtotal North", 26.5, 60.5])], {"total_row"}),
    ("average_column", [header("Latency", "site", "ESK", "ROV", "Average")], set()),
    ("total_sites_row", [append("Sites", ["Total sites:", None, None, None, None, None, 3])], {"total_row"}),
    ("blank_rows_between", [lambda r: r["Sites"].insert(2, []), lambda r: r["Latency"].insert(2, [None, None])], set()),
    ("blank_columns_between", [lambda r: [row.insert(1, None) for row in r["Sites"]]], set()),
    ("aliases", [header("Sites", "Store ID", "Branch name", "Region", "Lat", "Long", "Version", "Budget (ms)")], {"columns_matched"}),
    ("upper_case_with_hyphens", [header("Sites", *[n.upper().replace("_", "-") for n in SITES])], set()),
    ("required_marks", [header("Sites", "site *", *[f"{n} (optional)" for n in SITES[1:]])], {"columns_matched"}),
    ("misspelt_headers", [header("Sites", "site", "name", "region", "lattitude", "longitud", "relase", "latency_bugdet_ms")], {"column_similar"}),
    ("words_in_another_order", [header("Sites", *SITES[:6], "budget latency ms")], {"column_similar"}),
    ("sheet_title_with_more_words", [rename("Sites", "Site list 2026")], {"sheet_by_content"}),
    ("sheet_with_another_title", [rename("Sites", "Sheet1"), rename("Hubs", "Sheet2")], {"sheet_by_content"}),
    ("matrix_with_another_title", [rename("Latency", "Sheet3")], {"sheet_by_content"}),
    ("policy_below_the_hubs", [move("Policy", "Hubs")], {"sheet_by_content"}),
    ("hubs_below_the_sites", [move("Hubs", "Sites")], {"sheet_by_content"}),
    ("all_on_one_sheet", [rename("Sites", "Inventory"), move("Hubs", "Inventory"), move("Policy", "Inventory")], {"sheet_by_content"}),
    ("hubs_beside_the_sites", [lambda r: r.pop("Hubs"), beside("Sites", *HUB_ROWS)], {"sheet_by_content"}),
    ("a_table_that_is_there_already", [append("Sites", [], *HUB_ROWS)], {"table_unused"}),
    ("latency_sheet_in_german_title", [rename("Latency", "RTT Matrix Mai")], {"sheet_by_content"}),
    ("names_that_look_like_notes", [append("Policy", ["cluster cap", None])], {"setting_repeated"}),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "codes"), [c[1:] for c in SOUND], ids=[c[0] for c in SOUND])
@pytest.mark.parametrize("kind", ["xlsx", "csv"])
def test_a_sound_fleet_in_another_layout(read, rows, changes, codes, kind):
    for change in changes:
        change(rows)
    got = read(rows, kind)
    assert codes <= got.codes, got
    if "setting_repeated" in codes:
        assert got.fleet is None
        return
    fleet = got.fleet
    assert fleet is not None, got
    assert fleet.site_ids == ("0001", "0002", "0003")
    assert fleet.hub_ids == ("ESK", "ROV")
    assert fleet.budgets_ms.tolist() == [40, 40, 40]
    assert fleet.sites["latitude"].tolist() == [54.9, 54.5, 51.4]
    assert fleet.sites["release"].tolist() == ["8.2", "8.10", "8.2"]
    assert fleet.latency["rtt_ms"].tolist() == [12.5, 31, 14, 29.5, 33, 8.25]
    assert fleet.policy.reserve_percent == 10


# (situation, the header of the budget column, its cells, the budgets in ms, code)
BUDGETS = [
    ("milliseconds", "Latency budget [ms]", 40, 40, ""),
    ("seconds", "Latency budget (s)", 0.04, 40, "unit_converted"),
    ("seconds_in_words", "Max RTT in seconds", 0.04, 40, "unit_converted"),
    ("microseconds", "Latency budget µs", 40_000, 40, "unit_converted"),
    ("one_way", "Latency budget one way (ms)", 20, 40, "way_doubled"),
    ("one_way_seconds", "Latency budget [s, one-way]", 0.02, 40, "way_doubled"),
    ("round_trip", "Latency budget (ms, round trip)", 40, 40, ""),
    ("cell_against_header", "Latency budget [s]", "40 ms", 40, "number_text"),
    ("cell_in_a_one_way_column", "Latency budget one way [s]", "20 ms", 40, "way_doubled"),
]


@pytest.mark.parametrize(("name", "cell", "budget", "code"), [c[1:] for c in BUDGETS], ids=[c[0] for c in BUDGETS])
def test_a_unit_in_the_header(read, rows, name, cell, budget, code):
    rows["Sites"][0][6] = name
    for row in rows["Sites"][1:]:
        row[6] = cell
    got = read(rows)
    assert got.fleet.budgets_ms.tolist() == pytest.approx([budget] * 3)
    assert not code or code in got.codes, got


# (situation, rows of Latency, the two round-trip times of site 0001, code)
TIMES = [
    ("list_in_seconds", [["Branch", "Hub", "RTT [s]"], ["0001", "ESK", 0.0125], ["0001", "ROV", 0.031]], "unit_converted"),
    ("list_one_way", [["site", "hub", "Latency one way (ms)"], ["0001", "ESK", 6.25], ["0001", "ROV", 15.5]], "way_doubled"),
    ("matrix_in_seconds_by_corner", [["Site / RTT [s]", "ESK", "ROV"], ["0001", 0.0125, 0.031]], "unit_converted"),
    ("matrix_in_seconds_by_columns", [["site", "ESK (s)", "ROV (s)"], ["0001", 0.0125, 0.031]], "unit_converted"),
    ("matrix_one_way_above", [["site", "One way [ms]", ""], ["", "ESK", "ROV"], ["0001", 6.25, 15.5]], "way_doubled"),
    ("list_by_content", [["Shop", "Where to", "RTT"], ["0001", "ESK", 12.5], ["0001", "ROV", 31]], "column_by_content"),
    ("cells_with_units", [["site", "ESK", "ROV"], ["0001", "12.5 ms", "0.031 s"]], "unit_in_cell"),
]  # fmt: skip


@pytest.mark.parametrize(("cells", "code"), [c[1:] for c in TIMES], ids=[c[0] for c in TIMES])
def test_round_trip_times_in_other_units(read, rows, cells, code):
    rows["Latency"] = cells
    got = read(rows)
    assert code in got.codes, got
    assert got.fleet.latency["rtt_ms"].tolist() == pytest.approx([12.5, 31])


def test_links_in_miles_and_as_round_trips(read, rows):
    rows["Links"] = [["From", "To", "Distance miles", "RTT ms"], ["0001", "ESK", 100, None], ["0002", "ESK", None, 8]]
    got = read(rows)
    assert got.fleet.links["km"][0] == pytest.approx(160.9344)  # 1 mile = 1.609344 km, the agreement of 1959
    assert got.fleet.links["latency_ms"][1] == 4
    assert {"unit_converted", "way_halved"} <= got.codes


def test_times_that_may_be_seconds_are_asked_about(read, rows):
    rows["Latency"] = [["site", "ESK", "ROV"], ["0001", 0.012, 0.031], ["0002", 0.014, 0.029]]
    assert read(rows).only("unit_doubtful").severity == "warning"


# (situation, changes, code, what the question names)
QUESTIONS = [
    ("which_column_is_site", [header("Sites", "Shop", *SITES[1:])], "column_question", '"Shop" (A)'),
    ("two_sheets_may_be_sites", [lambda r: r.update({"Sheet1": r["Sites"], "Sheet2": [*r["Sites"]]}), lambda r: r.pop("Sites")], "sheet_question", "Sheet2"),
    ("hub_on_the_sites_sheet", [lambda r: r["Sites"][0].append("Hub"), lambda r: r["Sites"][1].append("ESK")], "column_doubtful", "pinned_hub"),
    ("hosts_on_the_hubs_sheet", [header("Hubs", "hub", "max_hosts", "hosts", "host_release", "host_cost")], "column_doubtful", "existing_hosts"),
    ("like_two_columns", [lambda r: r["Sites"][0].append("barred_hub_s"), lambda r: r["Sites"][0].append("barredhubs"), lambda r: r["Sites"][1].extend(["ESK", "ROV"])], "column_doubtful_twice", "barred_hubs"),
    ("percent_as_a_share", [lambda r: r["Policy"].__setitem__(2, ["reserve_percent", 0.1])], "percent_doubtful", "0.1"),
    ("two_tables_of_sites", [append("Sites", [], ["site", "name", "owner"], ["0004", "Dale", "me"])], "table_question", "Sites"),
    ("two_sheets_may_be_links", [lambda r: r.update({n: [["from", "to", "km"], ["0001", "ESK", 5]] for n in ("A", "B")})], "sheet_doubtful", "Links"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "code", "names"), [c[1:] for c in QUESTIONS], ids=[c[0] for c in QUESTIONS])
def test_what_may_be_two_things_is_a_question(read, rows, changes, code, names):
    for change in changes:
        change(rows)
    (found,) = read(rows).of(code)[:1]
    assert names in found.message
    assert found.severity in ("error", "warning")


def test_merged_cells_of_data_are_read_in_every_cell(fleet_path, outcome):
    book = openpyxl.load_workbook(fleet_path)
    book["Sites"].merge_cells("C2:C3")
    book["Sites"].merge_cells("G2:G4")
    book["Latency"].merge_cells("B2:B3")
    book.save(fleet_path)
    got = outcome(read_fleet, fleet_path)
    assert got.fleet.budgets_ms.tolist() == [40, 40, 40]
    assert got.fleet.sites["region"].tolist() == ["North", "North", "South"]
    assert got.fleet.latency["rtt_ms"].tolist()[2] == 12.5
    assert {f.severity for f in got.of("merged_cells")} == {"warning"}
    assert "C2:C3, G2:G4" in got.of("merged_cells")[0].message


def test_what_is_hidden_is_read_and_said(fleet_path, outcome):
    book = openpyxl.load_workbook(fleet_path)
    book["Sites"].row_dimensions[3].hidden = True
    book["Sites"].row_dimensions[4].hidden = True
    book["Sites"].column_dimensions["F"].hidden = True
    book["Policy"].sheet_state = "hidden"
    book.save(fleet_path)
    got = outcome(read_fleet, fleet_path)
    assert len(got.fleet.sites) == 3
    assert "3-4" in got.only("rows_hidden").message
    assert "F" in got.only("columns_hidden").message
    assert got.only("sheet_hidden").where == "Policy"


def test_bytes_in_a_header_are_eight_bits_each_and_doubted(read, rows):
    for row, value in zip(rows["Sites"], ["Uplink MB/s", 10, 10, 10], strict=True):
        row.append(value)
    got = read(rows)
    assert got.fleet.sites["uplink_mbps"].tolist() == [80, 80, 80]
    assert got.only("unit_bytes").severity == "warning"
