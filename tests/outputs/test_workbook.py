"""The plan workbook: what stands on each sheet, and that every data cell is a value."""

import datetime as dt
import re

import openpyxl
import pandas as pd
import pytest

from planner import columns
from planner.counted_words import counted
from planner.fleet import Fleet, Policy, typed_table
from planner.intake import read_fleet
from planner.intake.messages import CATALOGUE
from planner.outputs import write_workbook
from planner.outputs.headings import PROGRESS_WORDS
from planner.outputs.summary_content import REPAIRS
from planner.plan import Aim, Assignment, Host, Plan, Proof
from planner.sizing import plan as make_plan

SHEETS = ["Summary", "Hosts", "Assignments", "Unserved", "No host needed", "Findings", "Policy", "Approval"]
RECORD = "Plan record"


@pytest.fixture(scope="module")
def path(fleet, plan, tmp_path_factory):
    path = tmp_path_factory.mktemp("workbook") / "plan.xlsx"
    write_workbook(fleet, plan, path, written_at=dt.datetime(2026, 11, 25, 9, 30, tzinfo=dt.UTC))
    return path


@pytest.fixture(scope="module")
def book(path):
    return openpyxl.load_workbook(path)


def headings(sheet):
    return [cell.value for cell in sheet[1]]


def table(path, sheet):
    return pd.read_excel(path, sheet_name=sheet, dtype=object, keep_default_na=False, engine="openpyxl")


def summary_pairs(book):
    return {row[0].value: row[1].value for row in book["Summary"].iter_rows() if row[0].value}


def test_sheets_stand_in_the_order_in_which_they_are_read(book):
    assert book.sheetnames == ["Summary", "Charts", *SHEETS[1:4], "Standby", *SHEETS[4:], RECORD]


def test_summary_opens_with_the_plan_in_one_sentence(book, plan):
    estimated = len({row.site for row in plan.assignments if row.evidence == "estimated"})
    assert book["Summary"]["A2"].value == (
        f"{plan.hosts} tie-breaker hosts at 6 hubs serve 176 of 180 sites; "
        "4 sites are not served; each of those served has a standby for the loss of any one host; "
        f"the round-trip time of {estimated} of those served is only an estimate. "
        "Proven: fewer hosts cannot serve and cover these sites. 2 more sites need no shared host "
        "(1 has its own tie-breaker, 1 runs no cluster)."
    )


def test_summary_asks_to_look_into_sites_without_a_standby_where_cover_is_asked_for(tmp_path):
    fleet = read_fleet("sample_fleets/twelve_sites.xlsx")
    for cover, told in (("none", None), ("hub", "▲ 8: please check")):
        asked = fleet.replace(policy=fleet.policy.replace(cover=cover))
        write_workbook(asked, make_plan(asked), tmp_path / "plan.xlsx")
        pairs = summary_pairs(openpyxl.load_workbook(tmp_path / "plan.xlsx"))
        assert pairs.get("Sites without a standby") == told


def test_standby_sheet_says_where_its_budget_is_that_during_a_loss(tmp_path):
    fleet = read_fleet("sample_fleets/twelve_sites.xlsx")
    for looser, told in ((None, "budget ms"), (200.0, "budget during a loss ms")):
        asked = fleet.replace(policy=fleet.policy.replace(cover="hub", loss_latency_budget_ms=looser))
        write_workbook(asked, make_plan(asked), tmp_path / "plan.xlsx")
        sheet = openpyxl.load_workbook(tmp_path / "plan.xlsx")["Standby"]
        row = dict(zip(headings(sheet), (cell.value for cell in sheet[2]), strict=True))
        assert ("budget ms" in row, row[told] == 200.0) == (looser is None, looser is not None)


def test_summary_holds_claims_counts_and_where_the_plan_comes_from(book, plan, fleet):
    pairs = summary_pairs(book)
    assert (pairs["Status"], pairs["Complete"]) == ("optimal", "no")
    assert pairs["Objective"] == "hosts"
    assert pairs["Objective value"] == pairs["Lower bound"] == pairs["Hosts"] == plan.hosts
    assert pairs["Gap"] == 0
    assert pairs["Proof"] == plan.proof.words
    assert pairs["Sites served"] == 176
    assert pairs["Clusters served"] == sum(a.clusters for a in plan.assignments)
    assert pairs["Sites unserved"] == 4
    assert pairs["Errors in the inputs"] == "✓ none"
    assert pairs["Warnings in the inputs"] == "▲ 1: please check"
    assert pairs["Unserved sites"] == "▲ 4: please check"
    assert pairs["Sites without a standby"] == "✓ none"
    assert pairs["Repaired cells"] == 3
    assert pairs["Settings of this plan"].startswith(
        "cluster_cap 24; latency_budget_ms 40; reserve_percent 10; cover host"
    )
    assert fleet.sources[0].sha256 in pairs["Input"]
    assert pairs["castingvote"] == "0.1.0"
    assert pairs["Written"] == "2026-11-25 09:30 UTC"


def test_summary_counts_evidence_by_sites(book, plan):
    pairs = summary_pairs(book)
    for evidence in ("measured", "modelled", "estimated"):
        number = sum(a.evidence == evidence for a in plan.assignments)
        assert pairs[evidence.capitalize()] == f"{number} sites"


def test_summary_lists_the_ten_smallest_margins_in_order(book, plan):
    rows = [[cell.value for cell in row] for row in book["Summary"].iter_rows()]
    start = next(number for number, row in enumerate(rows) if row[:3] == ["site", "name", "hub"])
    shown = [row[6] for row in rows[start + 1 : start + 11]]
    assert shown == pytest.approx(sorted(a.margin_ms for a in plan.assignments)[:10])


def test_hosts_show_load_room_and_what_their_loss_would_hit(path, plan):
    hosts = table(path, "Hosts")
    assert list(hosts.columns) == [
        "host", "hub", "pool", "release", "clusters", "cap", "usable", "free", "load, share of cap",
        "worst margin ms", "new or existing", "blast radius", "live check",
    ]  # fmt: skip
    for row, host in zip(hosts.to_dict("records"), plan.host_list, strict=True):
        mine = [a for a in plan.assignments if a.host == host.host]
        assert (row["host"], row["release"], row["clusters"]) == (host.host, "8.10", sum(a.clusters for a in mine))
        assert row["free"] == host.usable - host.clusters
        assert row["load, share of cap"] == pytest.approx(host.clusters / host.cap)
        assert row["blast radius"] == f"{counted(host.clusters, 'cluster')} at {counted(len(mine), 'site')}"
        assert row["worst margin ms"] == pytest.approx(min(a.budget_ms - a.rtt_ms for a in mine))
        assert row["new or existing"] == ("existing" if host.existing else "new")


def test_assignments_state_the_change_then_leave_room_for_the_team_then_hand_the_users_columns_through(
    path, plan, fleet
):
    rows = table(path, "Assignments")
    assert list(rows.columns) == [
        "site", "name", "region", "clusters", "hub", "host", "RTT ms", "budget ms", "margin ms", "evidence",
        "current host", "action", "standby", "status", "date", "initials", "RTT after ms",
        "three votes seen", "remarks", "planned host", "cost centre", "floor area m2", "last visit",
    ]  # fmt: skip
    current = dict(zip(fleet.current["site"], fleet.current["host"], strict=True))
    for row, assignment in zip(rows.to_dict("records"), plan.assignments, strict=True):
        assert (row["site"], row["host"], row["action"]) == (assignment.site, assignment.host, assignment.action)
        assert row["current host"] == current.get(assignment.site, "")
        assert row["margin ms"] == pytest.approx(assignment.margin_ms)
        assert row["status"] == ("not needed" if assignment.action == "keep" else "open")
        assert row["date"] == row["initials"] == row["remarks"] == ""
    assert rows["cost centre"].tolist() == fleet.sites["cost centre"].tolist()[:176]
    assert rows["last visit"].tolist() == fleet.sites["last visit"].dt.to_pydatetime().tolist()[:176]


def test_kept_site_names_its_current_host_and_a_current_hub_stands_in_for_an_unnamed_host(tmp_path):
    sites = typed_table(columns.SITES, {"site": ["kept", "hub only", "new"]})
    pools = typed_table(columns.HUBS, {"hub": ["ESK"], "pool": ["ESK"]})
    current = typed_table(
        columns.CURRENT, {"site": ["kept", "hub only"], "hub": ["ESK", "ROV"], "host": ["ESK-01", ""]}
    )
    assignments = (
        Assignment("kept", "ESK-01", "ESK", 1, 5.0, 40.0, "measured", action="keep"),
        Assignment("hub only", "ESK-01", "ESK", 1, 5.0, 40.0, "measured", moved_from="ROV", action="move"),
        Assignment("new", "ESK-01", "ESK", 1, 5.0, 40.0, "measured"),
    )
    plan = Plan("optimal", "hosts", 1, 1, (Host("ESK-01", "ESK", "ESK", "", 3, 64, 64, True),), assignments)
    write_workbook(Fleet(sites, pools, current=current), plan, tmp_path / "plan.xlsx")
    rows = table(tmp_path / "plan.xlsx", "Assignments")
    assert rows["current host"].tolist() == ["ESK-01", "ROV", ""]
    assert "standby" not in rows.columns


def test_unserved_sites_give_each_reason_a_line_with_its_code_and_what_would_help(path, plan):
    rows = table(path, "Unserved")
    assert list(rows.columns) == ["site", "name", "region", "clusters", "current host", "reasons", "what would help"]
    assert rows["reasons"][0].splitlines() == [f"{r.code}: {r.detail}" for r in plan.unserved[0].reasons]
    assert rows["what would help"].tolist() == [u.remedy for u in plan.unserved]


def test_summary_lists_every_aim_in_order_with_its_bound_and_proof(fleet, plan, tmp_path):
    before = (Aim("served", 176.5, 176.5, True), Aim("covered", 100.0, 120.0, False))
    write_workbook(fleet, plan.replace(before=before, then=(Aim("latency", 9.5, 9.5, True),)), tmp_path / "plan.xlsx")
    rows = list(openpyxl.load_workbook(tmp_path / "plan.xlsx")["Summary"].iter_rows(max_col=4, values_only=True))
    at = rows.index(("aim", "value", "bound", "proven"))
    assert rows[at + 1 : at + 5] == [
        ("weight served", 176.5, 176.5, "yes"),
        ("weight with a standby", 100, 120, "no"),
        ("number of hosts", plan.hosts, plan.hosts, "no"),
        ("total RTT", 9.5, 9.5, "no"),
    ]


def test_sites_without_need_findings_and_policy_have_sheets_of_their_own(path):
    spared = table(path, "No host needed")
    assert spared[["site", "why"]].values.tolist() == [["9001", "own_tie_breaker"], ["9002", "no_clusters"]]
    findings = table(path, "Findings")
    assert list(findings.columns) == ["severity", "code", "file", "where", "message", "what to do"]
    assert findings["where"].tolist() == ["Sites!F17", "Latency!C9"]
    policy = table(path, "Policy").set_index("setting")
    assert list(policy.index) == [setting.name for setting in columns.SETTINGS]
    assert policy.loc["cluster_cap", ["value", "default", "differs"]].tolist() == [24, 64, "changed"]
    assert policy.loc["split_sites", ["value", "differs"]].tolist() == ["no", ""]
    assert policy.loc["max_hosts_per_hub", ["value", "differs"]].tolist() == [10, ""]


def test_only_the_live_check_is_a_formula(book, plan):
    formulas = [
        (sheet.title, cell.column_letter) for sheet in book for row in sheet.iter_rows() for cell in row
        if cell.data_type == "f"
    ]  # fmt: skip
    assert formulas == [("Hosts", "M")] * plan.hosts


def test_readers_that_do_not_calculate_see_the_result_of_the_live_check(path, plan):
    assert table(path, "Hosts")["live check"].tolist() == ["ok"] * plan.hosts


def test_live_check_of_a_plan_that_overfills_a_host_says_by_how_much(fleet, plan, tmp_path):
    full = plan.host_list[0]
    tight = plan.replace(host_list=(*plan.host_list[1:], Host(*[*_fields(full)[:6], full.clusters - 3, full.existing])))
    write_workbook(fleet, tight, tmp_path / "plan.xlsx")
    assert table(tmp_path / "plan.xlsx", "Hosts")["live check"].tolist() == ["ok"] * (plan.hosts - 1) + ["3 too many"]


def _fields(host):
    return [host.host, host.hub, host.pool, host.release, host.clusters, host.cap]


def test_data_sheets_are_tables_with_filters_and_frozen_headings_that_print_well(book):
    for name in SHEETS[1:]:
        sheet = book[name]
        (made,) = sheet.tables.values()
        assert made.autoFilter.ref == made.ref
        assert made.ref.startswith("A1:")
        assert [column.name for column in made.tableColumns] == headings(sheet)
        assert sheet.freeze_panes == "B2"
        assert sheet.page_setup.orientation == "landscape"
        assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 0)
        assert sheet.print_title_rows == "$1:$1"
        assert "&P" in sheet.oddFooter.right.text


def test_numbers_carry_their_unit_in_the_format(book):
    sheet = book["Assignments"]
    formats = {heading: sheet.cell(2, number).number_format for number, heading in enumerate(headings(sheet), start=1)}
    assert all('"ms"' in formats[name] for name in ("RTT ms", "budget ms", "margin ms"))
    assert formats["site"] == formats["initials"] == "@"
    assert formats["date"] == "yyyy-mm-dd"


def test_team_picks_status_and_host_from_lists_and_is_held_to_dates(book, plan):
    validations = book["Assignments"].data_validations.dataValidation
    by_cell = {str(v.sqref).split(":")[0].rstrip("0123456789"): v for v in validations}
    assert by_cell["N"].formula1 == f'"{",".join(PROGRESS_WORDS)}"'
    assert by_cell["O"].type == "date"
    assert all(v.showErrorMessage for v in validations)
    host = next(v for v in validations if "Hosts!" in (v.formula1 or ""))
    assert host.formula1 == f"Hosts!$A$2:$A${plan.hosts + 1}"
    assert host.errorStyle == "warning"


def test_users_column_that_bears_one_of_our_headings_is_told_apart(plan, tmp_path, fleet):
    sites = fleet.sites.assign(**{"Status": "live", "HOST": "x", "two\nlines": 1, "": "blank"})
    write_workbook(fleet.replace(sites=sites), plan, tmp_path / "plan.xlsx")
    found = headings(openpyxl.load_workbook(tmp_path / "plan.xlsx")["Assignments"])
    assert found[-4:] == ["Status (Sites)", "HOST (Sites)", "two lines", "column"]
    assert len({heading.casefold() for heading in found}) == len(found)


@pytest.mark.parametrize("has_sites", [True, False])
def test_plan_without_hosts_is_still_a_whole_workbook(tmp_path, has_sites):
    sites = typed_table(columns.SITES, {"site": ["a"] if has_sites else []})
    empty = Plan("optimal", "hosts", 0, 0, (), ())
    write_workbook(Fleet(sites, typed_table(columns.HUBS, {"hub": [], "pool": []})), empty, tmp_path / "plan.xlsx")
    book = openpyxl.load_workbook(tmp_path / "plan.xlsx")
    assert book.sheetnames == [*SHEETS, RECORD]
    assert book["Summary"]["A2"].value == "No site needs a shared tie-breaker host."
    assert table(tmp_path / "plan.xlsx", "Hosts").empty
    assert book["Hosts"].tables["Hosts"].ref == "A1:M2"


def test_cost_plan_shows_money_with_its_currency(fleet, plan, tmp_path):
    costly = plan.replace(objective="cost", objective_value=12300.5, lower_bound=12000.0, proof=Proof())
    write_workbook(fleet.replace(policy=Policy(currency="GBP")), costly, tmp_path / "plan.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "plan.xlsx")["Summary"]
    row = next(row for row in sheet.iter_rows() if row[0].value == "Objective value")
    assert row[1].value == 12300.5
    assert row[2].value.startswith("12,300.50 GBP")
    assert re.match(r"#,##0\.00", row[1].number_format)


def test_codes_that_count_as_repairs_are_codes_of_the_intake():
    assert set(CATALOGUE) >= REPAIRS
