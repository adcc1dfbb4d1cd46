"""`castingvote progress`: how far a rollout is, from the workbooks that the team sends back."""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import FLEET, PROGRESS, QUIET, called_as_planned, given_statuses, read_inventory
from planner.cli.output_options import check_outputs, put_in_place, workbook, workbook_name
from planner.cli.streams import say
from planner.counted_words import counted

if TYPE_CHECKING:
    from planner.fleet import Fleet
    from planner.plan import Plan
    from planner.progress import Progress


_SHOWN = 10


@click.command()
@FLEET
@click.argument("plans", metavar="PLAN.xlsx [COPY.xlsx]...", type=click.Path(path_type=Path), nargs=-1, required=True)
@workbook("MERGED", "Write all copies merged into one workbook, with the burn-down.")
@click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="Tell the progress and forecast as of this day; today by default.",
)
@click.option(
    "--write-fleet",
    "now_path",
    type=click.Path(path_type=Path),
    callback=workbook_name,
    metavar="NOW.xlsx",
    help="Write the fleet as it is now, with the source of each change.",
)
@click.option(
    "--tickets",
    type=click.Path(path_type=Path),
    metavar="TICKETS.csv",
    help="Write a row for each wave and site with the ticket numbers that the team typed on sheet Steps.",
)
@PROGRESS
@QUIET
def progress(
    fleet: Path,
    plans: tuple[Path, ...],
    output: Path | None,
    as_of: dt.datetime | None,
    now_path: Path | None,
    tickets: Path | None,
    quiet: bool,
) -> int:
    """Say which sites of a filled-in plan of FLEET are done, left, blocked or no longer as planned.

    PLANS are the plan workbook and copies of it that came back, which are taken as one; rollout
    workbooks may follow. Ends with 1 when copies clash or are of another plan, sites are no longer as
    planned, or the hosts as they are now break a rule.

    \b
    Example:
        castingvote progress fleet.xlsx plan.xlsx north.xlsx south.xlsx -o merged.xlsx
        castingvote progress fleet.xlsx plan.xlsx rollout.xlsx --write-fleet now.xlsx
    """
    from planner.outputs import read_plan
    from planner.outputs.approval_sheet import approvers_in
    from planner.outputs.progress_workbook import write_progress_workbook
    from planner.outputs.read_returned import read_copies
    from planner.outputs.repaired import write_now
    from planner.outputs.tickets import write_tickets
    from planner.tracking import fleet_now, merged, of_other_plans, resolved, rollout_of, tickets_in, track

    check_outputs(fleet, output, now_path, tickets)
    for path in (output, now_path, tickets):
        if path is not None and path.resolve() in {plan.resolve() for plan in plans}:
            raise click.UsageError(f"{path} is named twice: inputs and outputs must be different files.")
    given, plan = read_inventory(fleet), read_plan(plans[0])
    inventory = called_as_planned(given, plan)
    copies = resolved(read_copies(plans, given_statuses()), inventory, plan)
    whole = merged(copies)
    now = fleet_now(inventory, plan, whole)
    found = track(inventory, plan, whole, as_of.date() if as_of else dt.date.today())
    numbers, (rollout, unread) = tickets_in(whole.steps), rollout_of(whole.steps)
    unread = unread if tickets is not None else ()
    others, first = of_other_plans(copies), _not_given(inventory, plan)
    found = dataclasses.replace(found, notes=(*others, *first, *found.notes, *now.notes, *unread))
    with put_in_place():
        if output is not None:
            found = write_progress_workbook(plans, copies, whole, found, output)
        if now_path is not None:
            write_now(now.fleet, now.changes, now_path)
        if tickets is not None:
            write_tickets(inventory, rollout, tickets, numbers, approvers_in(plans[0], plan))
    if not quiet:
        for sentence in others:
            say(f"other plan {sentence}")
        _print(dataclasses.replace(found, notes=found.notes[len(others) :]), output)
        if now_path is not None:
            say(f"{counted(len(now.changes), 'change')} of the fleet, each with its source: {now_path}")
        if tickets is not None:
            say(f"{counted(len(numbers), 'step')} of {len(whole.steps):,} with a ticket number: {tickets}")
        for path in (output, now_path, tickets):
            if path is not None:
                say(f"Written: {path}")
    return 1 if others or found.clashes or found.problems or found.drifted else 0


def _not_given(fleet: Fleet, plan: Plan) -> list[str]:
    """Say which workbooks of earlier progress the plan started from and the fleet is read without."""
    names = {source.name for source in fleet.sources}
    missing = [source.name for source in plan.sources if source.name not in names]
    if len(missing) == len(plan.sources):  # another fleet, such as the one as it is now
        return []
    return [
        f"The plan was made with --progress {name}; what is done there is not counted here. Add --progress {name}."
        for name in missing
        if Path(name).suffix.lower() in (".xlsx", ".xlsm", ".ods")
    ]


def _print(found: Progress, output: Path | None) -> None:
    from planner.outputs import headings
    from planner.outputs.progress_workbook import figures

    for label, value in figures(found):
        say(f"{label:20} {value}")
    say(found.forecast.words)
    for title, lines in (
        ("violation", found.problems),
        ("clash", [str(clash) for clash in found.clashes]),
        ("slipped", found.slipped),
        ("blocked", [f"site {row.site}: {row.remarks or 'no remark'}" for row in found.blocked]),
        ("not as planned", [f"site {row.site}: {row.drift}" for row in found.drifted]),
        ("note", found.notes),
    ):
        for line in lines[:_SHOWN]:
            say(f"{title:10} {line}")
        if len(lines) > _SHOWN:
            sheet = headings.CLASHES if title == "clash" else headings.TEAM_PROGRESS
            where = (
                f"see {output}, sheet {sheet}" if output is not None else f"-o MERGED.xlsx lists them, sheet {sheet}"
            )
            say(f"{title:10} ... and {len(lines) - _SHOWN:,} more: {where}.")
