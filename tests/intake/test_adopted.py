"""What a mapping of an adopted file may say, and what becomes a finding there."""

import numpy as np
import pytest

import planner
from planner.intake import inspect_fleet
from planner.outputs import plan_to_json, write_repaired

MAPPING = """
[Sites]
sheet = "Estate"
header_row = 2
only = true
{sites}
[Sites.columns]
site = "Unit"
release = "Build"
{more}
[Hubs]
sheet = "Rooms"
header_row = 1
only = true
[Hubs.columns]
hub = "Room"
name = "Label"
[Latency]
sheet = "Times"
header_row = 1
only = true
{times}
[Latency.columns]
site = "Unit"
[Policy]
sheet = "Rules"
labels = "A"
values = "B"
[Policy.settings]
cluster_cap = "Most on one"
[Policy.given]
latency_budget_ms = 40
"""


@pytest.fixture
def estate():
    return {
        "Estate": [
            ["All units"],
            ["Unit", "Build", "State", "Served from", "Town"],
            ["U-001", "8.4", "open", "ESK", "A"],
            ["U-002", "8.2", "shut", "ROV", "B"],
            ["U-003", "8.4", "open", "-", "C"],
            ["U-004", "8.4", "open", "ESK", "D"],
        ],
        "Rooms": [["Room", "Label"], ["ESK", "Eskdale"], ["ROV", "Roveholt"]],
        "Times": [["Unit", "ESK", "ROV"], ["U-001", 5, 6], ["U-002", 6, 7], ["U-003", 6, "keine"], ["U-004", 8, 9]],
        "Rules": [["Most on one", 60], ["Written by", "us"]],
    }


@pytest.fixture
def read(tmp_path, writers):
    def run(rows, sites="", more="", times="", text=None):
        words = MAPPING.format(sites=sites, more=more, times=times) if text is None else text
        (tmp_path / "m.toml").write_text(words, encoding="utf-8")
        return inspect_fleet(writers["xlsx"](tmp_path / "fleet.xlsx", rows), tmp_path / "m.toml")

    return run


def codes(inspection):
    return [finding.code for finding in inspection.findings]


CURRENT = """[Current]
sheet = "Estate"
header_row = 2
only = true
[Current.columns]
site = "Unit"
hub = "Served from"
"""


def test_settings_stand_under_labels_and_in_the_mapping(estate, read):
    fleet = read(estate).fleet
    assert (fleet.policy.cluster_cap, fleet.policy.latency_budget_ms) == (60, 40)
    assert fleet.sites["Town"].tolist() == ["A", "B", "C", "D"]


def test_a_sheet_policy_is_read_beside_a_mapping_that_only_gives_settings(estate, read):
    """It was passed over without a word, so that the plan was made with another cap than the sheet says."""
    estate["Policy"] = [["setting", "value"], ["cluster_cap", 12]]
    words = MAPPING.partition("[Policy]")[0].format(sites="", more="", times="")
    left_open, given = (words + f"[Policy.given]\nlatency_budget_ms = {value}\n" for value in ('""', 40))
    policy = read(estate, text=given).fleet.policy
    assert (policy.cluster_cap, policy.latency_budget_ms) == (12, 40)
    estate["Policy"].append(["latency_budget_ms", 30])
    assert read(estate, text=left_open).fleet.policy.latency_budget_ms == 30
    (finding,) = [one for one in read(estate, text=given).findings if one.code == "setting_repeated"]
    assert finding.message == "The setting latency_budget_ms is already in Policy!B3."


def test_a_sheet_of_freezes_is_read_beside_a_mapping(estate, read):
    estate["Freezes"] = [["first", "last"], ["2027-03-01", "2027-03-10"]]
    assert len(read(estate).fleet.freezes) == 1


def test_rows_are_left_out_by_a_value_and_stay_out_everywhere(estate, read):
    got = read(estate, more='[Sites.leave_out]\nState = ["shut"]\n' + CURRENT)
    assert got.fleet.site_ids == ("U-001", "U-003", "U-004")
    assert {"rows_left_out", "left_out", "current_none"} <= set(codes(got))
    assert "site_unknown" not in codes(got)
    assert got.fleet.current["site"].tolist() == ["U-001", "U-004"]


def test_the_table_is_found_where_rows_were_added_above(estate, read):
    estate["Estate"][:0] = [["Another title"], [], ["And more"]]
    assert read(estate).fleet.site_ids == ("U-001", "U-002", "U-003", "U-004")


def test_a_table_whose_headers_are_gone_is_told(estate, read):
    estate["Estate"][1][0] = "Something else"
    got = read(estate)
    assert "mapping_gone" in codes(got)
    assert got.fleet is None


def test_a_label_that_is_gone_is_told(estate, read):
    estate["Rules"][0][0] = "Fewest"
    assert "mapping_label" in codes(read(estate))


def test_notes_and_titles_of_sections_are_no_sites(estate, read):
    estate["Estate"].insert(3, ["North"])
    estate["Estate"] += [["Total", "", "", "", 4], [], ["Checked in May"]]
    got = read(estate)
    assert got.fleet.site_ids == ("U-001", "U-002", "U-003", "U-004")
    assert codes(got).count("note_row") == 2
    assert codes(got).count("total_row") == 1


def test_a_site_without_anything_else_stays_a_site(estate, read):
    estate["Estate"].append(["U-005"])
    assert "U-005" in read(estate).fleet.site_ids


def test_a_further_table_on_the_sheet_is_told(estate, read):
    estate["Estate"] += [[], [], ["Spare part", "Pieces"], ["fan", 3], ["disk", 7]]
    got = read(estate)
    assert "table_unread" in codes(got)
    assert len(got.fleet.site_ids) == 4


@pytest.mark.parametrize(("kind", "clusters"), [("clusters", [2, 1]), ("nodes", [1, 1])])
def test_rows_may_be_clusters_or_nodes(estate, read, kind, clusters):
    estate["Estate"][2:] = [["U-001", "8.4"], ["U-001", "8.2"], ["U-002", "8.4"]]
    got = read(estate, sites=f'rows = "{kind}"')
    assert got.fleet.clusters.tolist() == clusters
    assert got.fleet.sites["release"].tolist() == ["8.2", "8.4"]  # all clusters need the floor
    assert {"rows_joined", "releases_differ"} <= set(codes(got))
    assert ("nodes_odd" in codes(got)) == (kind == "nodes")


def test_a_word_among_times_is_not_known(estate, read):
    estate["Times"][2][1] = "siehe unten"
    got = read(estate)
    assert "word_unknown" in codes(got)
    assert len(got.fleet.latency) == 6


def test_ids_are_told_by_number_and_by_what_stands_beside_them(estate, read):
    estate["Times"][1][0], estate["Times"][2][0] = "2", "Unit U-001 (Leeds)"
    estate["Times"][0][1] = "from Eskdale ms"
    got = read(estate)
    assert codes(got).count("id_bare") == 1
    assert codes(got).count("id_within") == 2
    pairs = list(zip(got.fleet.latency["site"], got.fleet.latency["hub"], got.fleet.latency["rtt_ms"], strict=True))
    assert ("U-002", "ESK", 5) in pairs
    assert ("U-001", "ESK", 6) in pairs


def test_tables_of_times_count_in_the_order_of_the_mapping(estate, read):
    estate["Again"] = [["Unit", "Room", "RTT"], ["U-001", "Eskdale", 15]]
    text = MAPPING.format(sites="", more="", times="").replace("[Latency]", "[[Latency]]")
    text += (
        '[[Latency]]\nsheet = "Again"\nheader_row = 1\nonly = true\n'
        '[Latency.columns]\nsite = "Unit"\nhub = "Room"\nrtt_ms = "RTT"\n'
    )
    got = read(estate, text=text)
    assert got.fleet.latency["rtt_ms"].tolist()[0] == 5
    assert "latency_superseded" in codes(got)


def test_of_two_dated_times_of_a_pair_the_newer_counts(rows, tmp_path, writers):
    rows["Latency"] = [
        ["site", "hub", "rtt_ms", "measured_at"],
        ["0001", "ESK", 5, "2026-01-01"],
        ["0001", "ESK", 9, "2026-03-01"],
        ["0002", "ESK", 7, "2026-03-01"],
    ]
    got = inspect_fleet(writers["xlsx"](tmp_path / "fleet.xlsx", rows))
    assert "pair_newer" in codes(got)
    assert sorted(got.fleet.latency["rtt_ms"]) == [7, 9]


def test_a_matrix_may_have_hubs_down(estate, read):
    estate["Times"] = [["Room", "U-001", "U-002", "U-003", "U-004"], ["ESK", 5, 6, 7, 8], ["ROV", 1, 2, 3, 4]]
    text = MAPPING.format(sites="", more="", times="hubs_down = true").replace(
        '[Latency.columns]\nsite = "Unit"', '[Latency.columns]\nhub = "Room"'
    )
    got = read(estate, text=text)
    assert len(got.fleet.latency) == 8
    assert got.fleet.latency["rtt_ms"].max() == 8


def test_hubs_may_be_listed_in_the_mapping(estate, read):
    del estate["Rooms"]
    text = MAPPING.format(sites="", more="", times="")
    start, stop = text.index("[Hubs]"), text.index("[Latency]")
    got = read(estate, text=text[:start] + '[Hubs]\nlisted = ["ROV", "ESK"]\n' + text[stop:])
    assert set(got.fleet.hub_ids) == {"ROV", "ESK"}
    told = next(f for f in got.findings if f.code == "mapping_listed")
    assert "ROV, ESK" in told.message


def test_a_hub_that_came_since_the_mapping_is_not_passed_over(estate, read):
    """Next month's export had a further column of times, and the plan went on without that hub."""
    times = {"Unit": "RTT KC3 (ms)", "U-001": 5, "U-002": 6, "U-003": 6, "U-004": 8}
    estate["Times"] = [[*row, times[row[0]]] for row in estate["Times"]]
    got = read(estate, text=MAPPING.format(sites="", more="", times='hubs = ["ESK", "ROV"]'))
    told = next(f for f in got.findings if f.code == "times_left_out")
    assert (told.where, told.severity) == ("Times!D1", "warning")
    assert "RTT KC3 (ms)" in told.message
    assert set(got.fleet.latency["hub"]) == {"ESK", "ROV"}


def test_a_file_of_unknown_names_says_what_its_ids_may_be(estate, tmp_path, writers):
    got = inspect_fleet(writers["xlsx"](tmp_path / "fleet.xlsx", estate))
    first = got.findings[0]
    assert first.code == "adopt_hint"
    assert '"Unit" (sheet Estate, A2)' in first.message
    assert "castingvote adopt" in first.hint
    assert "sheet_missing" not in codes(got)


def test_a_file_without_sites_cannot_be_adopted(tmp_path, writers):
    from planner.errors import InputError
    from planner.intake import adopt

    path = writers["xlsx"](tmp_path / "fleet.xlsx", {"Diary": [["Day", "Weather"], ["Mon", "rain"], ["Tue", "sun"]]})
    with pytest.raises(InputError) as caught:
        adopt(path)
    assert [f.code for f in caught.value.findings] == ["adopt_nothing"]


def test_a_plan_where_a_fleet_is_expected_is_told(fleet_and_plan, tmp_path):
    for path in fleet_and_plan[1:]:
        got = inspect_fleet(path)
        assert codes(got) == ["fleet_is_plan"]


@pytest.fixture
def fleet_and_plan(tmp_path):
    fleet = planner.read_fleet("sample_fleets/twelve_sites.xlsx")
    made = planner.plan(fleet)
    planner.write_workbook(fleet, made, tmp_path / "plan.xlsx")
    (tmp_path / "plan.json").write_text(plan_to_json(made, None), encoding="utf-8")
    return fleet, tmp_path / "plan.xlsx", tmp_path / "plan.json"


@pytest.mark.parametrize("bound", [">40", "> 40 ms", "≥ 40", "more than 0.05 s"])
def test_a_time_beyond_the_budget_is_beyond_it_though_not_known(rows, tmp_path, writers, bound):
    rows["Latency"][1][1] = bound
    got = inspect_fleet(writers["xlsx"](tmp_path / "fleet.xlsx", rows))
    assert "rtt_beyond" in codes(got)
    made = planner.plan(got.fleet)
    assert {a.hub for a in made.assignments if a.site == "0001"} == {"ROV"}
    assert np.isinf(got.fleet.latency["rtt_ms"].to_numpy()).sum() == 1


def test_a_time_beyond_less_than_the_budget_is_a_question(rows, tmp_path, writers):
    rows["Latency"][1][1] = ">39"
    rows["Latency"][2][1] = "timeout"
    rows["Latency"][3][1] = "unreachable"
    got = inspect_fleet(writers["xlsx"](tmp_path / "fleet.xlsx", rows))
    assert {"rtt_beyond_question", "no_answer", "unreachable"} <= set(codes(got))
    assert len(got.fleet.latency) == 3


def test_a_larger_budget_in_a_what_if_serves_nobody_on_a_bound(rows, tmp_path, writers):
    rows["Latency"] = [["site", "ESK"], ["0001", ">200"], ["0002", 14], ["0003", 33]]
    fleet = inspect_fleet(writers["xlsx"](tmp_path / "fleet.xlsx", rows)).fleet
    wider = fleet.replace(sites=fleet.sites.assign(latency_budget_ms=500.0))
    made = planner.plan(wider)
    (unserved,) = made.unserved
    assert unserved.site == "0001"
    assert any("its exact value is not known" in reason.detail for reason in unserved.reasons)


def test_a_repaired_fleet_keeps_what_is_beyond_the_budget(rows, tmp_path, writers):
    rows["Latency"][1][1] = ">40"
    fleet = inspect_fleet(writers["xlsx"](tmp_path / "fleet.xlsx", rows)).fleet
    write_repaired(fleet, tmp_path / "clean.xlsx")
    again = inspect_fleet(tmp_path / "clean.xlsx").fleet
    assert np.isinf(again.latency["rtt_ms"].to_numpy()).sum() == 1


def test_a_row_of_an_adopted_list_without_a_hub_is_not_read(estate, read):
    estate["Times"] = [["Unit", "Room", "RTT"], ["U-001", "ESK", 5], ["U-002", "", 6], ["U-003", "ROV", 7]]
    text = MAPPING.format(sites="", more="", times="").replace(
        '[Latency.columns]\nsite = "Unit"', '[Latency.columns]\nsite = "Unit"\nhub = "Room"\nrtt_ms = "RTT"'
    )
    got = read(estate, text=text)
    assert "pair_blank" in codes(got)
    assert len(got.fleet.latency) == 2
