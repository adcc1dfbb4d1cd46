"""Plans that follow each other, and calendars of rollouts that follow each other."""

import json

import icalendar

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
