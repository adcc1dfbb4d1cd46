"""`castingvote compare`: files in any mix, and its outputs."""

import json
import shutil

import openpyxl
import pytest

import planner
from planner.outputs.repaired import write_repaired
from tests.cli.conftest import small, write_fleet


def fleet(rtt):
    return small(
        Sites=[["site"], ["0001"], ["0042"], ["0043"]],
        Hubs=[["hub", "existing_hosts"], ["ESK", 1], ["OLD", 1]],
        Latency=[["site", "ESK", "OLD"], ["0001", 12, 13], ["0042", rtt, 15], ["0043", 14, 55]],
        Policy=[["setting", "value"], ["latency_budget_ms", 50]],
        Current=[
            ["site", "hub", "host"],
            ["0001", "ESK", "ESK-01"],
            ["0042", "ESK", "ESK-01"],
            ["0043", "ESK", "ESK-01"],
        ],
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Fleets of two months as folders and their plans: site 0042 is measured anew, beyond its budget of 50 ms."""
    place = tmp_path_factory.mktemp("months")
    for month, rtt in (("october", 14), ("november", 90)):
        write_fleet(place / month, fleet(rtt))
        write_repaired(planner.read_fleet(place / month), place / f"{month}.xlsx")
        inventory = planner.read_fleet(place / f"{month}.xlsx")
        plan = planner.plan(inventory)
        planner.write_workbook(inventory, plan, place / f"plan-{month}.xlsx")
        planner.write_json(plan, place / f"plan-{month}.json")
    return place


@pytest.fixture
def months(made, tmp_path):
    return shutil.copytree(made, tmp_path, dirs_exist_ok=True)


def test_two_plans_are_explained_by_the_fleets_beside_them(call, months):
    done = call("compare", "plan-october.xlsx", "plan-november.json", "-o", "d.xlsx", "--json", "d.json")
    assert done.code == 0
    assert "The fleet of plan-october.xlsx was found beside it: october.xlsx." in done.err
    assert "2 hosts instead of 1 (+1 because of RTT measured anew)" in done.out
    found = json.loads((months / "d.json").read_text())
    (row,) = found["sites"]
    assert (row["site"], row["what"], row["old"], row["new"], row["cause"]) == (
        "0042",
        "other host",
        "ESK-01",
        "OLD-01",
        "latency",
    )
    book = openpyxl.load_workbook(months / "d.xlsx")
    assert book.sheetnames == ["Summary", "Hosts", "Sites", "Changes of the fleet", "Intermediate plans"]
    assert [cell.value for cell in book["Sites"][2]][:5] == [
        "0042",
        "other host",
        "ESK-01",
        "OLD-01",
        "RTT measured anew",
    ]


def test_fleets_are_planned_and_folders_are_fleets(call, months):
    done = call("compare", "october", "november.xlsx", "--markdown", "-", "-q")
    assert done.code == 0
    assert done.out.startswith("**2 hosts instead of 1")
    assert "RTT measured anew" in done.out


def test_a_fleet_that_was_changed_since_is_not_taken_for_that_of_the_plan(call, months):
    (months / "october.xlsx").write_bytes((months / "november.xlsx").read_bytes())
    done = call("compare", "plan-october.xlsx", "plan-november.xlsx")
    assert done.code == 1
    assert "without a known cause" in done.out
    assert "october.xlsx changed after plan-october.xlsx was made: causes come from the plan alone." in done.err
    (months / "october.xlsx").unlink()
    done = call("compare", "plan-october.xlsx", "plan-november.xlsx")
    assert "The fleet of plan-october.xlsx is not in its folder" in done.err


def test_a_fleet_can_be_named(call, months):
    (months / "october.xlsx").rename(months / "autumn.xlsx")
    done = call("compare", "plan-october.xlsx", "plan-november.xlsx", "--old-fleet", "autumn.xlsx", "-q")
    assert done.code == 0


def test_today_is_the_sheet_current(call, months):
    done = call("compare", "october.xlsx", "plan-november.json", "--today")
    assert done.code == 0
    assert "RTT measured anew" in done.out
    assert call("compare", "plan-october.json", "plan-november.json", "--today").code == 2


def test_the_report_tells_what_changed(call, months):
    done = call(
        "report",
        "november.xlsx",
        "plan-november.xlsx",
        "-o",
        "p.html",
        "--curve-seconds",
        "0",
        "--since",
        "plan-october.json",
    )
    assert done.code == 0
    page = (months / "p.html").read_text()
    assert 'id="changed"' in page
    assert "2 hosts instead of 1 (+1 because of RTT measured anew)" in page
    assert "ESK-01 -&gt; OLD-01" in page


def test_what_cannot_be_read_is_said_before_anything_is_written(call, months):
    (months / "broken.json").write_text('{"format": 1}')
    done = call("compare", "broken.json", "plan-november.json", "-o", "d.xlsx")
    assert done.code == 2
    assert "broken.json" in done.err
    assert not (months / "d.xlsx").exists()
    assert call("compare", "october.xlsx", "november.xlsx", "-o", "october.xlsx").code == 2


def test_a_mapping_is_for_the_fleet_whose_sheets_it_names(call, months):
    book = openpyxl.load_workbook(months / "october.xlsx")
    book["Sites"].title = "Filialen"
    book.save(months / "own.xlsx")
    (months / "own.toml").write_text('[Sites]\nsheet = "Filialen"\n')
    given = ("--mapping", "own.toml", "--time-limit", "0")
    done = call("compare", "plan-october.xlsx", "own.xlsx", "--old-fleet", "october.xlsx", *given)
    assert "october.xlsx has no sheets that own.toml names: it was read without the mapping." in done.err
    assert done.code in (0, 1)
    for sheet in book.sheetnames[1:]:
        del book[sheet]
    book["Filialen"].title = "Orte" if book.sheetnames == ["Filialen"] else book.sheetnames[0]
    book.save(months / "bare.xlsx")
    done = call("compare", "plan-october.xlsx", "bare.xlsx", "--old-fleet", "october.xlsx", *given)
    assert done.code == 2
    assert "bare.xlsx: The mapping own.toml does not fit this file." in done.err
