"""The sheets Readiness and Readiness overview, of the plan workbook and alone, and the audit in plan.json."""

import json

import openpyxl
import pandas as pd
import pytest

import planner
from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.outputs import check_to_json, plan_to_json, write_json, write_readiness, write_workbook
from planner.plan import Plan
from planner.readiness import Check, Item, Readiness, SiteReadiness

NAN = float("nan")


def of_sites(**cells):
    return Fleet(typed_table(columns.SITES, cells), typed_table(columns.HUBS, {"hub": ["N"], "pool": ["N"]}))


FLEET = of_sites(site=["0001", "0002", "0003", "0004"], name=["=1+1", "B", "C", "D"], region=["North"] * 4)
AUDIT = Readiness(
    sites=(
        SiteReadiness(
            "0001",
            2,
            "not_a_fit",
            (
                Item("nodes", "blocks", "0001", "3 data nodes", "Rebuild it.", ("nodes",)),
                Item("uplink", "open", "0001", "=too thin\nby far", "Order more.", ("uplink_mbps",)),
                Item("uplink", "unknown", "0001", "uplink_mbps is blank", "Fill in.", ("uplink_mbps",)),
            ),
        ),
        SiteReadiness("0002", 1, "ready"),
        SiteReadiness("0003", 1, "no_host_needed"),
        SiteReadiness(
            "0004",
            1,
            "ready_after",
            (
                Item("nodes", "unknown", "0004", "nodes is blank", "Fill in.", ("nodes",)),
                Item("uplink", "unknown", "0004", "uplink_mbps is blank", "Fill in.", ("uplink_mbps",)),
            ),
        ),
    ),
    checks=(Check("nodes", "two nodes"), Check("uplink", "enough"), Check("release_floor", "reached", asked=False)),
    assumptions=("Nothing is assumed.",),
)
PLAN = Plan("optimal", "hosts", 0, 0, (), ())


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    path = tmp_path_factory.mktemp("readiness") / "readiness.xlsx"
    write_readiness(FLEET, AUDIT, path)
    return path


def rows(path):
    table = pd.read_excel(path, sheet_name="Readiness", dtype=object, keep_default_na=False, engine="openpyxl")
    return table.set_index("site")


def test_there_is_a_row_for_each_site_with_its_outcome_and_counts(path):
    table = rows(path)
    assert table.index.tolist() == ["0001", "0002", "0003", "0004"]
    assert table["readiness"].tolist() == ["cannot use one", "ready", "no host needed", "not confirmed"]
    assert table["items open"].tolist() == [2, 0, 0, 0]
    assert table["items not known"].tolist() == [1, 0, 0, 2]
    assert table.loc["0001", "what is open"] == "nodes: 3 data nodes\nuplink: =too thin by far"
    assert table.loc["0001", "what to do"] == "Rebuild it.\nOrder more."
    assert table.loc["0004", "what is not known"] == "nodes is blank; uplink_mbps is blank"
    assert table.loc["0004", "columns to fill in"] == "nodes, uplink_mbps"


def test_each_check_has_a_column_to_filter_by_with_the_worst_of_its_items(path):
    table = rows(path)
    assert table["nodes"].tolist() == ["cannot use one", "ok", "", "not known"]
    assert table["uplink"].tolist() == ["open", "ok", "", "not known"]
    assert table["release_floor"].tolist() == ["not asked", "not asked", "", "not asked"]


def test_the_sheet_is_a_table_with_filters_that_prints_without_the_columns_to_filter_by(path):
    sheet = openpyxl.load_workbook(path)["Readiness"]
    (made,) = sheet.tables.values()
    assert made.autoFilter.ref == made.ref == "A1:N5"
    assert sheet.freeze_panes == "B2"
    assert sheet.print_area.endswith("$A$1:$K$5")


def test_text_of_the_input_stays_text(path):
    sheet = openpyxl.load_workbook(path)["Readiness"]
    assert (sheet["B2"].value, sheet["B2"].data_type) == ("=1+1", "s")


def test_the_overview_tells_counts_frequent_items_and_assumptions(path):
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["Readiness overview", "Readiness"]
    page = book["Readiness overview"]
    told = {row[0].value: (row[1].value, row[2].value) for row in page.iter_rows() if row[0].value}
    assert told["not confirmed"] == (1, "1 cluster")
    assert told["cannot use one"] == (1, "2 clusters")
    assert told["uplink: not known"] == (2, "Fill in.")
    assert told["release_floor"][0].endswith("(not asked: the policy sets none)")
    assert "1. Nothing is assumed." in told


def test_the_plan_workbook_has_the_sheets_only_when_it_is_given_an_audit(tmp_path):
    write_workbook(FLEET, PLAN, tmp_path / "plan.xlsx", readiness=AUDIT)
    write_workbook(FLEET, PLAN, tmp_path / "bare.xlsx")
    book = openpyxl.load_workbook(tmp_path / "plan.xlsx")
    sheets = ["Summary", "Hosts", "Assignments", "Unserved", "No host needed"]
    assert book.sheetnames == [
        *sheets,
        "Readiness",
        "Readiness overview",
        "Findings",
        "Policy",
        "Approval",
        "Plan record",
    ]
    assert openpyxl.load_workbook(tmp_path / "bare.xlsx").sheetnames == [
        *sheets,
        "Findings",
        "Policy",
        "Approval",
        "Plan record",
    ]
    (row,) = [row for row in book["Summary"].iter_rows() if row[0].value == "Sites not ready"]
    assert row[1].value == "▲ 2: please check"
    assert "1 site is not confirmed: 1 lacks data." in row[2].value
    assert planner.read_plan(tmp_path / "plan.xlsx").hosts == 0


def test_plan_json_holds_every_item_and_is_still_read_back(tmp_path):
    data = json.loads(plan_to_json(PLAN, AUDIT))["readiness"]
    assert data["counts"] == {"ready": 1, "ready_after": 1, "not_a_fit": 1, "no_host_needed": 1}
    assert data["sites"][0]["items"][0] == {
        "code": "nodes",
        "severity": "blocks",
        "site": "0001",
        "detail": "3 data nodes",
        "remedy": "Rebuild it.",
        "columns": ["nodes"],
    }
    assert data["management_by"] == "plan"
    assert sum(len(site["items"]) for site in data["sites"]) == 5
    write_json(PLAN, tmp_path / "plan.json", AUDIT)
    assert planner.read_plan(tmp_path / "plan.json") == PLAN
    assert "readiness" not in json.loads(plan_to_json(PLAN))


def test_the_json_of_check_without_a_fleet_says_null():
    assert json.loads(check_to_json((), None)) == {"format": 1, "findings": [], "readiness": None}


def test_an_audit_of_no_sites_is_a_whole_workbook(tmp_path):
    empty = Fleet(typed_table(columns.SITES, {}), typed_table(columns.HUBS, {}), policy=Policy())
    write_readiness(empty, planner.audit(empty), tmp_path / "empty.xlsx")
    assert rows(tmp_path / "empty.xlsx").empty
