"""`castingvote rollout`: from today's fleet to a plan, in waves."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import FLEET, PROGRESS, QUIET, fleet_and_plan, returned_steps
from planner.cli.output_options import check_outputs, json_file, put_in_place, workbook
from planner.cli.progress import Stages, in_words
from planner.cli.streams import files_among, hand_over, is_stdout, say

if TYPE_CHECKING:
    from planner.fleet import Fleet
    from planner.outputs.earlier_calendar import EarlierCalendar


@click.command()
@FLEET
@click.argument("plan", type=click.Path(path_type=Path))
@workbook("ROLLOUT", "Write the run sheets here: a page for each wave, and all steps as a table to fill in.")
@click.option(
    "--calendar",
    type=click.Path(path_type=Path),
    metavar="FILE.ics",
    help="Write the waves as an iCalendar file, one event each.",
)
@click.option(
    "--earlier",
    type=click.Path(path_type=Path),
    metavar="OLD.ics",
    help="Calendar of the last rollout: its dropped waves are cancelled in the new one. Default: the file replaced.",
)
@click.option(
    "--tickets",
    type=click.Path(path_type=Path),
    metavar="TICKETS.csv",
    help="Write a row for each wave and site for a ticket system: window, what, risk, how to undo.",
)
@json_file("ROLLOUT", "the waves")
@click.option(
    "--start",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="First day, such as 2027-03-01. Default: rollout_start in the policy, else tomorrow.",
)
@click.option("--only-ready", is_flag=True, help="Leave out sites that the readiness audit finds not ready.")
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0.0),
    metavar="SECONDS",
    help="Finish within this time, with the best rollout found by then and its bound.",
)
@click.option("--thorough", is_flag=True, help="Search about ten times longer for fewer waves.")
@PROGRESS
@QUIET
def rollout(
    fleet: Path,
    plan: Path,
    output: Path | None,
    calendar: Path | None,
    earlier: Path | None,
    tickets: Path | None,
    json_path: Path | None,
    start: dt.datetime | None,
    only_ready: bool,
    time_limit: float | None,
    thorough: bool,
    quiet: bool,
) -> int:
    """Schedule the changes from today (sheet Current of FLEET) to PLAN in few waves, and say how few are possible.

    The order keeps the caps, the rules about releases, windows, freezes and the limits of the policy at
    every step. Ends with 1 when a part of the plan cannot be rolled out; the rest is scheduled all the
    same.

    \b
    Example:
        castingvote rollout fleet.xlsx plan.xlsx -o rollout.xlsx --calendar rollout.ics
    """
    from planner.cli.rollout_report import print_rollout
    from planner.outputs import write_calendar, write_rollout_workbook
    from planner.outputs.approval_sheet import approvers_in
    from planner.outputs.calendar import is_of
    from planner.outputs.rollout_json import rollout_to_json
    from planner.outputs.tickets import write_tickets
    from planner.rollout import roll_out
    from planner.tracking import tickets_for

    check_outputs(fleet, output, calendar, tickets, json_path, plan=plan)
    stages = Stages(quiet=quiet)
    with stages.stage("read", "Reading fleet and plan"):
        inventory, made = fleet_and_plan(fleet, plan)
        before = _earlier(earlier, calendar)
    words = "Looking for an order and for the fewest waves"
    with stages.stage("order", words) as show:
        found = roll_out(
            inventory,
            made,
            start=start.date() if start else None,
            open_items=_open_items(inventory) if only_ready else None,
            time_limit=stages.left(time_limit),
            thorough=thorough,
            watch=lambda progress: show(f"{words}: {in_words(progress)}"),
        )
    if before is not None and before.events and not is_of(found, before):
        say(
            f"note       {earlier or calendar} is the calendar of another fleet: none of its waves is cancelled.",
            err=True,
        )
    numbers, lost = tickets_for(returned_steps(), found)
    for note in lost:
        say(f"note       {note}", err=True)
    with put_in_place():
        if output is not None:
            write_rollout_workbook(inventory, made, found, output, tickets=numbers)
        if calendar is not None:
            write_calendar(found, calendar, earlier=before)
        if tickets is not None:
            write_tickets(inventory, found, tickets, numbers, approvers_in(plan, made))
        hand_over(lambda: rollout_to_json(found), json_path)
    if not quiet:
        print_rollout(
            inventory, made, found, files_among(output, calendar, tickets, json_path), err=is_stdout(json_path)
        )
    return 1 if found.conflicts else 0


def _earlier(named: Path | None, replaced: Path | None) -> EarlierCalendar | None:
    """Return the calendar that was named, else the one that is to be replaced where it is one of ours."""
    from planner.errors import InputError
    from planner.outputs.earlier_calendar import read_earlier_calendar

    if named is not None:
        return read_earlier_calendar(named)
    if replaced is None or not replaced.is_file():
        return None
    try:
        return read_earlier_calendar(replaced)
    except InputError:
        return None


def _open_items(fleet: Fleet) -> dict[str, list[str]]:
    """Return what the audit asks to mend at each site, except a release that the rollout itself raises."""
    from planner.readiness import audit

    raised = {site for site, target in zip(fleet.site_ids, fleet.sites["target_release"], strict=True) if target}
    found: dict[str, list[str]] = {}
    for item in audit(fleet).items:
        if item.severity != "unknown" and not (item.code == "release_floor" and item.site in raised):
            found.setdefault(item.site, []).append(f"{item.code}: {item.detail}")
    return found
