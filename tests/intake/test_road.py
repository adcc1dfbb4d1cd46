"""A sound fleet is read alike from every kind of source, and unsound ones raise with all findings."""

import hashlib

import numpy as np
import pandas as pd
import pytest

from planner.errors import InputError
from planner.fleet import Policy
from planner.intake import UNREADABLE, fleet_from_tables, read_fleet


def assert_sound(fleet):
    assert fleet.site_ids == ("0001", "0002", "0003")
    assert fleet.hub_ids == fleet.pool_ids == ("ESK", "ROV")
    assert fleet.sites["release"].tolist() == ["8.2", "8.10", "8.2"]
    assert fleet.budgets_ms.tolist() == [40, 40, 40]
    assert fleet.host_costs.tolist() == [1200, 1200]
    assert fleet.policy == Policy(cluster_cap=64, reserve_percent=10.0)
    latency = fleet.latency.set_index(["site", "hub"])["rtt_ms"]
    assert latency["0001", "ESK"] == 12.5
    assert latency["0003", "ROV"] == 8.25
    assert len(latency) == 6


@pytest.mark.parametrize("kind", ["xlsx", "xlsm", "ods", "csv"])
def test_a_sound_fleet_reads_alike_from_each_kind_of_file(read, rows, kind):
    got = read(rows, kind)
    assert got.codes == set()
    assert_sound(got.fleet)


def test_a_sound_fleet_reads_alike_from_tables(rows):
    frames = {name: pd.DataFrame(cells[1:], columns=cells[0]) for name, cells in rows.items()}
    fleet = fleet_from_tables(frames)
    assert_sound(fleet)
    assert fleet.findings == fleet.sources == ()


def test_sources_name_the_file_and_its_digest(fleet_path):
    (source,) = read_fleet(str(fleet_path)).sources
    assert source.name == "fleet.xlsx"
    assert source.sha256 == hashlib.sha256(fleet_path.read_bytes()).hexdigest()


def test_sources_of_a_folder_are_its_files(read, rows):
    got = read(rows, "csv")
    assert [source.name for source in got.fleet.sources] == ["Hubs.csv", "Latency.csv", "Policy.csv", "Sites.csv"]
    assert len({source.sha256 for source in got.fleet.sources}) == 4


def test_latency_ids_are_categories_in_the_order_of_their_sheets(read, rows):
    rows["Latency"] = [["site", "ROV", "ESK"], ["0003", 1, 2], ["0001", 3, None]]
    latency = read(rows).fleet.latency
    assert latency["site"].cat.categories.tolist() == ["0001", "0002", "0003"]
    assert latency["hub"].cat.categories.tolist() == ["ESK", "ROV"]
    assert list(zip(latency["site"], latency["hub"], latency["rtt_ms"], strict=True)) == [
        ("0003", "ROV", 1.0),
        ("0003", "ESK", 2.0),
        ("0001", "ROV", 3.0),
    ]


def test_all_findings_come_at_once(read, rows):
    rows["Sites"][1][5] = "banana"
    rows["Hubs"][1][1] = -3
    rows["Latency"][1][1] = -1
    rows["Policy"].append(["no_such_setting", 1])
    got = read(rows)
    assert got.fleet is None
    assert got.codes == {"release_order", "number_limit", "setting_unknown"}
    assert {f.where for f in got.findings} == {"Sites!F2", "Hubs!B2", "Latency!B2", "Policy!A4"}
    assert all(f.file == "fleet.xlsx" and f.severity == "error" and f.message for f in got.findings)


def test_errors_come_before_warnings_and_infos(read, rows):
    rows["Sites"][0].append("wing")
    rows["Sites"][1].append("east")
    rows["Latency"].append(["0099", 1, 1])
    rows["Policy"].append(["cover", "planet"])
    got = read(rows)
    assert [f.code for f in got.findings] == ["choice_unknown", "site_unknown", "column_unknown"]


def test_an_input_error_names_the_first_error(read, rows, tmp_path, writers):
    rows["Latency"][1][1] = -1
    with pytest.raises(
        InputError, match=r"1 error.*fleet.xlsx Latency!B2: rtt_ms -1 must be above 0 and at most 60000"
    ):
        read_fleet(writers["xlsx"](tmp_path / "fleet.xlsx", rows))


def test_many_findings_of_one_kind_are_listed_up_to_twenty_and_the_rest_counted(read, rows):
    rows["Sites"] = [["site", "latency_budget_ms"], *([f"{i:04d}", -1] for i in range(1, 54))]
    rows.pop("Latency")
    found = read(rows).of("number_limit")
    assert [f.where for f in found] == [*(f"Sites!B{row}" for row in range(2, 22)), "Sites!B22:B54"]
    assert found[-1].message == "33 more like the 20 listed, all in B22:B54."
    assert found[-1].severity == "error"


def test_many_findings_in_a_matrix_are_counted_over_all_its_columns(read, rows):
    hubs = [f"H{j}" for j in range(30)]
    rows["Hubs"] = [["hub"], *([hub] for hub in hubs)]
    rows["Latency"] = [["site", *hubs], ["0001", *[-1] * 30], ["0002", *[-5] * 30]]
    found = read(rows).of("number_limit")
    assert len(found) == 21
    assert found[-1].where == "Latency!L2:AE3"  # listed column by column
    assert found[-1].message.startswith("40 more")


def test_tables_name_cells_as_a_frame_would_be_written(rows):
    frames = {name: pd.DataFrame(cells[1:], columns=cells[0]) for name, cells in rows.items()}
    frames["Latency"].loc[1, "ROV"] = -4.0
    with pytest.raises(InputError) as caught:
        fleet_from_tables(frames)
    (finding,) = caught.value.findings
    assert (finding.where, finding.code, finding.file) == ("Latency!C3", "number_limit", "")


def test_tables_with_a_named_index_a_missing_value_and_numeric_columns():
    sites = pd.DataFrame({"site": ["a", "b", None], "latency_budget_ms": [40.0, np.nan, np.nan]})
    latency = pd.DataFrame({"X": [1.5, np.nan]}, index=pd.Index(["a", "b"], name="site"))
    fleet = fleet_from_tables(
        {"sites": sites, "hubs": pd.DataFrame({"hub": ["X"]}), "latency": latency}, {"latency_budget_ms": 25}
    )
    assert fleet.site_ids == ("a", "b")  # a row that is blank throughout is none
    assert fleet.budgets_ms.tolist() == [40, 25]
    assert fleet.latency["rtt_ms"].tolist() == [1.5]


def test_a_policy_object_is_checked_like_a_sheet(rows):
    frames = {name: pd.DataFrame(cells[1:], columns=cells[0]) for name, cells in rows.items()}
    policy = Policy(latency_budget_ms=10, split_sites=True, max_blast_radius=5, release_floor="8.0")
    assert fleet_from_tables(frames, policy).policy == policy
    idle = fleet_from_tables(frames, policy.replace(loss_uses_reserve=True)).findings
    assert ("loss_uses_reserve_idle", "policy['loss_uses_reserve']") in {(f.code, f.where) for f in idle}
    with pytest.raises(InputError) as caught:
        fleet_from_tables(frames, {"reserve_percent": 120, "cover": "planet"})
    assert {(f.code, f.where) for f in caught.value.findings} == {
        ("choice_unknown", "policy['cover']"),
        ("number_limit", "policy['reserve_percent']"),
    }


def test_a_fleet_from_tables_of_a_fleet_is_the_same_fleet(read, rows):
    rows["Sites"][0] += ["zone", "barred_hubs", "opens", "own_tie_breaker"]
    rows["Sites"][1] += ["power; wan", "ROV", None, "possible"]
    rows["Current"] = [["site", "hub", "host"], ["0001", "ESK", "ESK-01"]]
    first = read(rows).fleet
    tables = {"Sites": first.sites, "Hubs": first.pools, "Latency": first.latency, "Current": first.current}
    again = fleet_from_tables(tables, first.policy)
    for name in ("sites", "pools", "latency", "current"):
        pd.testing.assert_frame_equal(getattr(again, name), getattr(first, name), check_dtype=False)
    assert again.policy == first.policy


def test_only_file_trouble_counts_as_unreadable(read, rows, tmp_path, outcome):
    rows["Latency"][1][1] = -1
    assert not read(rows).codes & UNREADABLE
    assert outcome(read_fleet, tmp_path / "none.xlsx").codes <= UNREADABLE
