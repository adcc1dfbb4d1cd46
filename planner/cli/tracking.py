"""`castingvote progress`: how far a rollout is, from the workbooks that the team sends back."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import FLEET, QUIET, check_outputs, put_in_place, read_inventory, workbook
from planner.cli.streams import say

if TYPE_CHECKING:
    from planner.progress import Progress


_SHOWN = 10


@click.command()
@FLEET
@click.argument("plans", metavar="PLAN.xlsx [COPY.xlsx]...", type=click.Path(path_type=Path), nargs=-1, required=True)
@workbook("MERGED", "Write the first copy with what all copies say, and the burn-down.")
@click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="Tell the progress and forecast as of this day; today by default.",
)
@QUIET
def progress(fleet: Path, plans: tuple[Path, ...], output: Path | None, as_of: dt.datetime | None, quiet: bool) -> int:
    """Tell what is done, left, blocked and drifted of a plan of FLEET that the team has filled in.

    PLANS are the plan workbook and copies of it that came back, which are taken as one; rollout
    workbooks may follow. Ends with 1 when copies clash, sites have drifted, or the hosts as they are now break a rule.

    \b
    Example:
        castingvote progress fleet.xlsx plan.xlsx north.xlsx south.xlsx -o merged.xlsx
    """
    from planner.outputs import read_plan
    from planner.outputs.progress_workbook import write_progress_workbook
    from planner.outputs.read_returned import read_copies
    from planner.tracking import merged, track

    check_outputs(fleet, output)
    if output is not None and output.resolve() in {plan.resolve() for plan in plans}:
        raise click.UsageError(f"{output} is named twice: inputs and outputs must be different files.")
    inventory = read_inventory(fleet)
    plan = read_plan(plans[0])
    whole = merged(read_copies(plans))
    found = track(inventory, plan, whole, as_of.date() if as_of else dt.date.today())
    with put_in_place():
        if output is not None:
            write_progress_workbook(plans[0], whole, found, output)
    if not quiet:
        _print(found)
        if output is not None:
            say(f"Written: {output}")
    return 1 if found.clashes or found.problems or found.drifted else 0


def _print(found: Progress) -> None:
    from planner.outputs.progress_workbook import figures

    for label, value in figures(found):
        say(f"{label:20} {value}")
    say(found.forecast.words)
    for title, lines in (
        ("violation", found.problems),
        ("clash", [str(clash) for clash in found.clashes]),
        ("blocked", [f"site {row.site}: {row.remarks or 'no remark'}" for row in found.blocked]),
        ("drifted", [f"site {row.site}: {row.drift}" for row in found.drifted]),
        ("note", found.notes),
    ):
        for line in lines[:_SHOWN]:
            say(f"{title:10} {line}")
        if len(lines) > _SHOWN:
            say(f"{title:10} ... and {len(lines) - _SHOWN:,} more.")
