"""Hosts in other letters: one machine has one name in Hubs, in Current, and in the plan that a fleet follows."""

import openpyxl
import pandas as pd
import pytest

import planner
from planner.cli import main
from planner.named_alike import named_as_planned
from planner.outputs import write_workbook
from planner.outputs.repaired import write_repaired
from sample_fleets.make_fleet import generate

SITES = [f"{n:02d}" for n in range(1, 11)]


def fleet_of(current, **columns):
    tables = {
        "Sites": pd.DataFrame({"site": SITES}),
        "Hubs": pd.DataFrame({"hub": ["ESK"], "max_hosts": 3, "cluster_cap": 6, **columns}),
        "Latency": pd.DataFrame([(s, "ESK", 9.0) for s in SITES], columns=["site", "hub", "rtt_ms"]),
        "Current": pd.DataFrame(current, columns=["site", "hub", "host"]),
    }
    return planner.fleet_from_tables(tables, policy={"latency_budget_ms": 25})


def test_current_takes_the_name_of_hubs_or_that_of_most_rows():
    """NEU-01 of Hubs was retired by a rollout as a host without sites, while its sites were on neu-01."""
    fleet = fleet_of([("01", "ESK", "esk-01"), ("02", "ESK", "Esk‑01"), ("03", "ESK", "tb2"), ("04", "ESK", "TB2"),
                      ("05", "ESK", "TB2")], host_names="ESK-01", existing_hosts=2)  # fmt: skip
    assert list(fleet.current["host"]) == ["ESK-01", "ESK-01", "TB2", "TB2", "TB2"]
    assert [f.code for f in fleet.findings].count("host_alike") == 3
    two = fleet_of([("01", "ESK", "esk-01")], host_names="ESK-01; esk-01", existing_hosts=2)
    assert list(two.current["host"]) == ["esk-01"]


def test_a_new_host_is_not_called_as_one_that_runs():
    fleet = fleet_of([(site, "ESK", "esk-01") for site in SITES[:6]], existing_hosts=1)
    assert {host.host for host in planner.plan(fleet).host_list} == {"esk-01", "ESK-02"}


def test_a_fleet_whose_export_has_other_letters_is_as_planned(tmp_path, capsys):
    """Every site was told to be elsewhere, and what was written had each host twice."""
    fleet = planner.fleet_from_tables(generate(20, 3, seed=3, unservable=0, current=0.6))
    plan = planner.plan(fleet)
    lower = fleet.replace(current=fleet.current.assign(host=fleet.current["host"].str.lower()))
    found, notes = named_as_planned(lower, plan)
    in_plan = {host.host for host in plan.host_list}
    assert len(notes) == len(in_plan & set(fleet.current["host"]))
    again = found.current["host"].isin(in_plan)
    assert (found.current["host"][again] == fleet.current["host"][again]).all()
    assert named_as_planned(fleet, plan) == (fleet, ())
    write_repaired(lower, tmp_path / "lower.xlsx")
    write_workbook(fleet, plan, tmp_path / "plan.xlsx")
    book = openpyxl.load_workbook(tmp_path / "plan.xlsx")
    column = next(cell.column for cell in book["Assignments"][1] if cell.value == "status")
    for row in range(2, book["Assignments"].max_row + 1):
        book["Assignments"].cell(row, column).value = "done"
    book.save(tmp_path / "plan.xlsx")
    arguments = [tmp_path / "lower.xlsx", tmp_path / "plan.xlsx", "--write-fleet", tmp_path / "now.xlsx"]
    with pytest.raises(SystemExit) as ended:
        main(["progress", *map(str, arguments)])
    printed = capsys.readouterr()
    assert (ended.value.code, "is taken for" in printed.err) == (0, True), printed.out
    now = planner.read_fleet(tmp_path / "now.xlsx")
    assert set(now.current["host"]) == {row.host for row in plan.assignments}
    assert not {f.code for f in now.findings} & {"host_alike", "current_hosts"}
