"""`castingvote plan` from today, `castingvote progress`, and the run sheets and calendar of `rollout`."""

import json
import shutil

import openpyxl
import pytest

from planner.cli import main
from planner.cli.report import print_trade_off
from planner.intake import read_fleet
from planner.outputs import read_plan
from planner.plan import moved_sites
from planner.sizing import Point, drained, plan
from tests.cli.conftest import small, write_fleet

SITES = [["site", "release"], *([f"{n:04d}", "8.2"] for n in range(1, 9))]
HUBS = [
    ["hub", "max_hosts", "existing_hosts", "cluster_cap", "host_release"],
    ["ESK", 3, 2, 6, "8.2"],
    ["ROV", 3, 0, 6, "8.2"],
]
LATENCY = [["site", "ESK", "ROV"], *([f"{n:04d}", 12, 15] for n in range(1, 9))]
CURRENT = [["site", "hub", "host"], *([f"{n:04d}", "ESK", "ESK-01" if n < 5 else "ESK-02"] for n in range(1, 8))]


@pytest.fixture
def fleet(fleets):
    return fleets.write(Sites=SITES, Hubs=HUBS, Latency=LATENCY, Current=CURRENT)


def plan_of(result):
    return {row["site"]: row["host"] for row in json.loads(result.out)["assignments"]}


def test_plan_keeps_everybody_where_that_takes_no_more_hosts(call, fleet):
    done = call("plan", fleet, "--json", "-")
    assert done.code == 0
    made = plan_of(done)
    assert {site: made[site] for site, _, host in CURRENT[1:]} == {site: host for site, _, host in CURRENT[1:]}
    assert "2 tie-breaker hosts" in done.err


def test_drained_host_is_empty(call, fleet, tmp_path):
    done = call("plan", fleet, "--drain", "ESK-02", "-o", "plan.xlsx", "--json", "plan.json")
    assert done.code == 0
    hosts = {host["host"] for host in json.loads((tmp_path / "plan.json").read_text())["host_list"]}
    assert "ESK-02" not in hosts
    assert call("verify", fleet, "plan.xlsx").code == 0


def test_a_plan_remembers_what_it_was_asked_to_empty(call, fleet, tmp_path):
    call("plan", fleet, "-o", "before.xlsx", "-q")
    call("plan", fleet, "--drain", "ESK", "-o", "plan.xlsx", "--json", "plan.json", "-q")
    assert json.loads((tmp_path / "plan.json").read_text())["emptied"] == ["ESK"]
    for path in ("plan.xlsx", "plan.json"):
        assert read_plan(tmp_path / path).emptied == ("ESK",)
        done = call("verify", fleet, path, "--proof")
        assert (done.code, "The proof holds" in done.out) == (0, True)
    assert call("export", fleet, "plan.xlsx", "--evidence", "evidence", "-q").code == 0
    compared = call("compare", "before.xlsx", "plan.xlsx", "--old-fleet", fleet, "--new-fleet", fleet)
    assert compared.code == 0
    assert "Cause: hub changed." in compared.out
    book = openpyxl.load_workbook(tmp_path / "plan.xlsx")
    rows = book["Assignments"]
    heads = [cell.value for cell in rows[1]]
    rows.cell(2, heads.index("host") + 1).value = "ESK-01"
    book.save(tmp_path / "edited.xlsx")
    assert call("verify", fleet, "edited.xlsx").code == 1


def test_drained_hub_and_frozen_assignments(call, fleet):
    assert all(
        host.startswith("ROV") for host in plan_of(call("plan", fleet, "--drain", "ESK", "--json", "-")).values()
    )
    frozen = plan_of(call("plan", fleet, "--freeze-assignments", "--json", "-"))
    assert frozen["0001"] == "ESK-01"
    assert frozen["0007"] == "ESK-02"


def test_it_is_said_where_more_hosts_are_not_tried(call, fleets):
    policy = [["setting", "value"], ["latency_budget_ms", 40], ["objective", "new_hosts"]]
    fleet = fleets.write(Sites=SITES, Hubs=HUBS, Latency=LATENCY, Current=CURRENT, Policy=policy)
    done = call("plan", fleet, "--drain", "ESK-02", "--extra-hosts", "1", "--json", "-")
    assert "Whether 1 more host would save moves was not tried, since the objective is new_hosts." in done.err
    codes = {finding["code"] for finding in json.loads(done.out)["findings"]}
    assert "extra_hosts_unused" in codes


def test_trade_off_is_printed(call, fleet):
    done = call("plan", fleet, "--drain", "ESK-02", "--trade-off")
    assert "How many moves further hosts save" in done.out
    assert "proven" in done.out


def test_a_plan_of_another_objective_says_why_it_moves_more_than_its_trade_off(fleet, tmp_path, capsys):
    inventory = drained(read_fleet(tmp_path / fleet), ["ESK-02"])
    made = plan(inventory)
    moved = len(moved_sites(inventory, made))
    assert moved
    print_trade_off(inventory, made, (Point(made.hosts, moved, moved),), err=False)
    assert "The plan itself" not in capsys.readouterr().out
    print_trade_off(inventory, made.replace(objective="new_hosts"), (Point(made.hosts, 0, 0),), err=False)
    words = " ".join(capsys.readouterr().out.split())
    assert f"The plan itself moves {moved} site" in words
    assert "since its objective is new_hosts. With as many hosts, 0 moves are enough." in words


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--drain", "nowhere"], "neither a hub nor a host in use"),
        (["--trade-off", "--freeze-assignments"], "use one of them"),
        (["--extra-hosts", "1", "--freeze-assignments"], "allows no moves"),
        (["-o", "plan.csv"], "ends in .xlsx"),
        (["--progress", "missing.xlsx"], "missing.xlsx"),
    ],
)
def test_wrong_calls(call, fleet, tmp_path, arguments, words):
    done = call("plan", fleet, *arguments)
    assert done.code == 2
    assert words in done.err
    assert not (tmp_path / "plan.xlsx").exists()


def test_copies_without_the_plan_are_told_how_to_be_read(call, fleet, returned):
    book = openpyxl.load_workbook(returned / "north.xlsx")
    for title in ("Summary", "Hosts", "Unserved", "Standbys", "No host needed", "Plan record"):
        if title in book.sheetnames:
            del book[title]
    book.save(returned / "rows.xlsx")
    done = call("plan", fleet, "--progress", "rows.xlsx")
    assert done.code == 2
    assert "rows.xlsx: It says what is done, but not what was planned. Give --progress PLAN.xlsx first" in done.err
    assert call("plan", fleet, "--progress", "rows.xlsx", "--progress", "plan.xlsx", "-q").code == 0


@pytest.fixture(scope="module")
def sent_back(tmp_path_factory):
    """A folder with a plan workbook, and a copy in which one site is done and one is blocked."""
    folder = tmp_path_factory.mktemp("sent_back")
    fleet = write_fleet(folder / "fleet", small(Sites=SITES, Hubs=HUBS, Latency=LATENCY, Current=CURRENT))
    with pytest.raises(SystemExit) as ended:
        main(["plan", str(fleet), "--drain", "ESK-02", "-o", str(folder / "plan.xlsx"), "-q"])
    assert ended.value.code == 0
    book = openpyxl.load_workbook(folder / "plan.xlsx")
    sheet = book["Assignments"]
    letter = {cell.value: cell.column_letter for cell in sheet[1]}
    rows = {row[0].value: row[0].row for row in sheet.iter_rows(min_row=2)}
    sheet[f"{letter['status']}{rows['0005']}"] = "done"
    sheet[f"{letter['status']}{rows['0006']}"], sheet[f"{letter['remarks']}{rows['0006']}"] = "blocked", "no key"
    book.save(folder / "north.xlsx")
    return folder


@pytest.fixture
def returned(call, fleet, sent_back, tmp_path):
    """These workbooks beside the fleet, to be changed."""
    for name in ("plan.xlsx", "north.xlsx"):
        shutil.copy(sent_back / name, tmp_path)
    return tmp_path


def test_progress_tells_what_is_done_and_left_and_writes_it(call, fleet, returned):
    done = call("progress", fleet, "plan.xlsx", "north.xlsx", "-o", "merged.xlsx", "--as-of", "2027-03-01")
    assert done.code == 0
    assert "Done                 1 site" in done.out
    assert "blocked    site 0006: no key" in done.out
    assert "No forecast" in done.out
    assert "Progress" in openpyxl.load_workbook(returned / "merged.xlsx").sheetnames
    again = call("progress", fleet, "merged.xlsx", "--as-of", "2027-03-01")
    assert "Done                 1 site" in again.out


def test_progress_ends_with_1_when_copies_clash(call, fleet, returned):
    book = openpyxl.load_workbook(returned / "north.xlsx")
    sheet = book["Assignments"]
    letter = {cell.value: cell.column_letter for cell in sheet[1]}
    row = next(row[0].row for row in sheet.iter_rows(min_row=2) if row[0].value == "0005")
    sheet[f"{letter['status']}{row}"] = "blocked"
    book.save(returned / "south.xlsx")
    done = call("progress", fleet, "plan.xlsx", "north.xlsx", "south.xlsx")
    assert done.code == 1
    assert "north.xlsx Assignments!" in done.out


def test_plan_starts_from_what_is_done(call, fleet, returned):
    """Site 0005 is on its new host by now, so that it is no move any more, and the rest still is."""
    before = plan_of(call("plan", fleet, "--drain", "ESK-02", "--json", "-"))
    after = json.loads(call("plan", fleet, "--progress", "north.xlsx", "--drain", "ESK-02", "--json", "-").out)
    rows = {row["site"]: (row["host"], row["action"]) for row in after["assignments"]}
    assert rows["0005"] == (before["0005"], "keep")
    assert rows["0006"][1] == "move"


def test_progress_refuses_what_is_no_plan_workbook(call, fleet, returned):
    done = call("progress", fleet, "plan.xlsx", returned / "fleet")
    assert done.code == 2
    assert call("progress", fleet, "nowhere.xlsx").code == 2
    assert "named twice" in call("progress", fleet, "plan.xlsx", "-o", "plan.xlsx").err
    assert call("progress", fleet).code == 2


def test_rollout_writes_run_sheets_and_calendar(call, fleet, returned):
    done = call(
        "rollout", fleet, "plan.xlsx", "-o", "rollout.xlsx", "--calendar", "rollout.ics", "--start", "2027-03-01"
    )
    assert done.code == 0
    assert "Wave 1" in openpyxl.load_workbook(returned / "rollout.xlsx").sheetnames
    assert (returned / "rollout.ics").read_bytes().startswith(b"BEGIN:VCALENDAR")
    assert call("rollout", fleet, "plan.xlsx", "-o", "rollout.csv").code == 2
    assert call("progress", fleet, "plan.xlsx", "rollout.xlsx").code == 0
