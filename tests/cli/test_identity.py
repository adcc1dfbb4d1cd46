"""Plans that follow each other, and calendars of rollouts that follow each other."""

import json

import icalendar
import openpyxl

import planner
from planner.intake import read_fleet
from tests.cli.conftest import small, write_fleet


def month(tmp_path, name, sites):
    write_fleet(
        tmp_path / name,
        small(
            Sites=[["site"], *([site] for site in sites)],
            Latency=[["site", "ESK"], *([site, 9] for site in sites)],
            Policy=[["setting", "value"], ["latency_budget_ms", 20], ["sites_per_wave", 1], ["pilot_sites", 1]],
        ),
    )


def test_a_plan_that_replaces_one_of_its_fleet_has_the_next_number(call, tmp_path):
    month(tmp_path, "october", ["0001", "0002"])
    month(tmp_path, "november", ["0001", "0002", "0003"])
    plan = tmp_path / "plan.json"
    numbers = []
    for name in ("october", "october", "november"):
        assert call("plan", name, "--json", plan, "-q").code == 0
        numbers.append(json.loads(plan.read_text())["number"])
    assert numbers == [1, 1, 2]
    assert call("plan", "october", "--json", "other.json", "--after", plan, "-q").code == 0
    other, before = json.loads((tmp_path / "other.json").read_text()), json.loads(plan.read_text())
    assert (other["number"], other["follows"]) == (3, before["hash"])
    assert call("plan", "october", "--json", "other.json", "--after", "october", "-q").code == 2


def told(path):
    """Return number, predecessor and fleet of a plan.json, and its hash."""
    plan = json.loads(path.read_text())
    return (plan["number"], plan["follows"], plan["fleet_id"]), plan["hash"]


def test_a_plan_of_the_fleet_as_it_is_counts_on(call, tmp_path):
    month(tmp_path, "october", ["0001", "0002"])
    call("plan", "october", "-o", "plan.xlsx", "--json", "first.json", "-q")
    (_, _, fleet), first = told(tmp_path / "first.json")
    call("progress", "october", "plan.xlsx", "--write-fleet", "now.xlsx")
    call("plan", "now.xlsx", "--json", "same.json", "-q")
    assert told(tmp_path / "same.json") == ((1, "", fleet), first)
    month(tmp_path, "november", ["0001", "0002", "0003"])
    call("plan", "november", "--progress", "plan.xlsx", "-o", "next.xlsx", "--json", "next.json", "-q")
    assert told(tmp_path / "next.json")[0] == (2, first, fleet)
    call("progress", "november", "next.xlsx", "--write-fleet", "later.xlsx")
    call("plan", "later.xlsx", "--json", "again.json", "-q")
    assert told(tmp_path / "again.json") == told(tmp_path / "next.json")  # it follows the plan of October still
    # the team has written another host into its copy: it still is a copy of that plan
    book = openpyxl.load_workbook(tmp_path / "next.xlsx")
    sheet = book["Assignments"]
    at = [cell.value for cell in sheet[1]].index("host") + 1
    sheet.cell(2, at).value = "ESK-09"
    book.save(tmp_path / "back.xlsx")
    call("progress", "november", "back.xlsx", "--write-fleet", "now.xlsx", "--force")
    now = read_fleet(tmp_path / "now.xlsx")
    assert (now.policy.fleet_id, now.policy.last_plan) == (fleet, 2)
    assert now.policy.last_plan_hash == told(tmp_path / "next.json")[1]
    book = openpyxl.load_workbook(tmp_path / "now.xlsx")
    rows = {row[1]: row for row in book["Done so far"].iter_rows(values_only=True)}
    assert {"fleet_id", "last_plan", "last_plan_hash"} <= set(rows)
    assert planner.plan(now).number == 2  # nothing else is to be done
    assert planner.plan(now.replace(sites=now.sites.iloc[1:].reset_index(drop=True))).number == 3


def test_a_fleet_keeps_its_id_when_a_hub_opens(call, tmp_path):
    month(tmp_path, "october", ["0001", "0002"])
    write_fleet(
        tmp_path / "november",
        small(
            Sites=[["site"], ["0001"], ["0002"]],
            Hubs=[["hub"], ["ESK"], ["ROV"]],
            Latency=[["site", "ESK", "ROV"], ["0001", 9, 30], ["0002", 30, 8]],
            Policy=[["setting", "value"], ["latency_budget_ms", 20]],
        ),
    )
    call("plan", "october", "--json", "plan.json", "-q")
    (_, _, fleet), first = told(tmp_path / "plan.json")
    call("plan", "november", "--json", "next.json", "--after", "plan.json", "-q")
    assert told(tmp_path / "next.json")[0] == (2, first, fleet)
    done = call("plan", "november", "--json", "plan.json", "--force")
    assert told(tmp_path / "plan.json")[0][0] == 1
    assert fleet in done.err
    assert "--after" in done.err


def test_an_older_plan_does_not_turn_the_number_back(call, tmp_path):
    month(tmp_path, "october", ["0001", "0002"])
    call("plan", "october", "-o", "plan.xlsx", "-q")
    write_fleet(
        tmp_path / "november",
        small(Policy=[["setting", "value"], ["latency_budget_ms", 20], ["last_plan", 7], ["last_plan_hash", "ab"]]),
    )
    call("plan", "november", "--progress", "plan.xlsx", "--json", "plan.json", "-q")
    assert told(tmp_path / "plan.json")[0][:2] == (8, "ab")


def test_the_next_calendar_cancels_the_waves_of_the_plan_before(call, tmp_path):
    month(tmp_path, "october", ["0001", "0002", "0003"])
    month(tmp_path, "november", ["0001", "0002"])
    for name in ("october", "november"):
        call("plan", name, "--json", "plan.json", "-q")
        assert call("rollout", name, "plan.json", "--calendar", "rollout.ics", "--start", "2050-01-03", "-q").code == 0
    events = icalendar.Calendar.from_ical((tmp_path / "rollout.ics").read_bytes()).walk("VEVENT")
    states = [str(event["STATUS"]) for event in events]
    assert states.count("CANCELLED") >= 2
    assert states.count("CONFIRMED") >= 1
    assert len({str(event["UID"]) for event in events}) == len(events)
    (tmp_path / "note.ics").write_text("a note")
    done = call("rollout", "november", "plan.json", "--calendar", "new.ics", "--earlier", "note.ics", "-q")
    assert done.code == 2
    assert "note.ics" in done.err
