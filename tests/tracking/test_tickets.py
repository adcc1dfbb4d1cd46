"""Ticket numbers that come back: in other letters, twice, on steps that are done or dropped."""

import datetime as dt
from zoneinfo import ZoneInfo

from planner.outputs import headings
from planner.progress import Cell, Copy
from planner.schedule import Rollout, Step, Wave
from planner.tracking import merged, tickets_for, tickets_in

NIGHT = dt.datetime(2027, 6, 1, 22, tzinfo=ZoneInfo("UTC"))


def rollout(*moves):
    """A rollout of one wave, with a move of each (site, from, to)."""
    steps = tuple(
        Step(f"site {site}", "move", NIGHT, NIGHT + dt.timedelta(minutes=30), site, of, to) for site, of, to in moves
    )
    return Rollout((Wave(1, NIGHT, NIGHT + dt.timedelta(minutes=30), steps),), 1, "")


def row(at, site, ticket, status="open", to="ESK-02", wave=1):
    told = {
        headings.STEP: f"site {site}",
        headings.KIND: "move",
        headings.SITE: site,
        headings.FROM_HOST: "ESK-01",
        headings.TO_HOST: to,
        headings.WAVE: wave,
        headings.PROGRESS: status,
        headings.TICKET: ticket,
    }
    return {name: Cell(value, f"Steps!{name}{at}", f"back.xlsx Steps!Q{at}") for name, value in told.items()}


def test_one_ticket_in_other_letters_is_one_and_two_of_a_step_are_both_kept():
    steps = [row(2, "0001", "CHG-7"), row(3, "0001", "chg-7"), row(4, "0002", "CHG-8"), row(5, "0002", 4711)]
    wanted = {"site 0001": "CHG-7", "site 0002": "CHG-8; 4711"}
    assert tickets_in(steps) == wanted
    again = rollout(("0001", "ESK-01", "ESK-02"), ("0002", "ESK-01", "ESK-02"))
    assert tickets_for(steps, again) == (wanted, ())


def test_a_ticket_of_a_wave_that_was_dropped_is_told_once_and_one_of_a_done_step_is_history():
    steps = [row(at, f"{at:04d}", "CHG-7", wave=3) for at in range(2, 8)] + [row(9, "0009", "CHG-9", status="done")]
    found, notes = tickets_for(steps, rollout(("0008", "ESK-01", "ESK-02")))
    assert found == {}
    assert notes == (
        "Ticket CHG-7 (back.xlsx Steps!Q2, wave 3, back.xlsx Steps!Q3, wave 3, back.xlsx Steps!Q4, wave 3, "
        "back.xlsx Steps!Q5, wave 3 and 2 more) is of 6 steps that the new rollout has not.",
    )


def test_a_site_that_goes_to_another_host_now_is_another_change():
    found, notes = tickets_for([row(2, "0001", "CHG-7")], rollout(("0001", "ESK-01", "ROV-01")))
    assert found == {}
    assert "CHG-7" in notes[0]


def test_two_copies_with_two_tickets_of_a_step_clash_and_lose_neither():
    typed = {"a.xlsx": "T-1", "b.xlsx": "T-2"}
    copies = [Copy(name, (), steps=(row(2, "0001", ticket),)) for name, ticket in typed.items()]
    whole = merged(copies)
    assert tickets_in(whole.steps) == {"site 0001": "T-1"}
    assert [(clash.column, clash.kept) for clash in whole.clashes] == [(headings.TICKET, "T-1")]
    assert "T-2" in whole.steps[0][headings.REMARKS].value
