"""`castingvote compare`: what differs between two plans or fleets, and why."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import QUIET, SEED
from planner.cli.output_options import check_outputs, json_file, put_in_place, workbook
from planner.cli.progress import Stages
from planner.cli.streams import files_among, hand_over, is_stdout, say

if TYPE_CHECKING:
    from planner.differences.compare_plans import Given


@click.command()
@click.argument("old", type=click.Path(path_type=Path))
@click.argument("new", type=click.Path(path_type=Path))
@click.option(
    "--old-fleet",
    type=click.Path(path_type=Path),
    metavar="FLEET.xlsx",
    help="The fleet that OLD is a plan of. Needed only if no file beside OLD has the right SHA-256.",
)
@click.option(
    "--new-fleet",
    type=click.Path(path_type=Path),
    metavar="FLEET.xlsx",
    help="The fleet that NEW is a plan of. Needed only if no file beside NEW has the right SHA-256.",
)
@click.option(
    "--mapping", type=click.Path(path_type=Path), metavar="MAPPING.toml", help="Read fleets as this file says."
)
@click.option(
    "--today", is_flag=True, help="Compare with how sites are served today: the sheet Current of the fleet OLD."
)
@workbook("DIFFERENCE", "Write the differences with their causes as a workbook here.")
@json_file("DIFFERENCE", "the differences")
@click.option(
    "--markdown",
    type=click.Path(path_type=Path),
    metavar="DIFFERENCE.md",
    help="Write a summary for a ticket here; - is standard output.",
)
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0.0),
    default=60.0,
    show_default=True,
    metavar="SECONDS",
    help="Time for intermediate plans that find causes. 0: read causes from the files only.",
)
@SEED
@QUIET
def compare(
    old: Path,
    new: Path,
    old_fleet: Path | None,
    new_fleet: Path | None,
    mapping: Path | None,
    today: bool,
    output: Path | None,
    json_path: Path | None,
    markdown: Path | None,
    time_limit: float,
    seed: int,
    quiet: bool,
) -> int:
    """Say what differs from OLD to NEW, and why: hosts, moves, unserved, margins, cover and cost.

    OLD and NEW are plans (a plan workbook or plan.json) or fleets, in any mix; a fleet is planned. Causes come
    from the fleets of both: a site opened or closed, a round-trip time measured anew, a release, the policy, a
    hub. If these do not show a cause, intermediate plans are made to find it; the output says where. Ends with 1
    when some cause is not known. Ctrl-C goes on with the causes found so far.

    \b
    Example:
        castingvote compare october.xlsx november.xlsx -o difference.xlsx
        castingvote compare plan-october.json plan-november.json --markdown ticket.md
        castingvote compare fleet.xlsx plan.xlsx --today
    """
    from planner.cli.difference_report import print_difference
    from planner.differences import compare as find_differences
    from planner.differences.difference_book import write_difference_workbook
    from planner.differences.difference_markdown import difference_to_markdown
    from planner.differences.sources import read_side
    from planner.outputs.noun_json import noun_to_json

    if is_stdout(json_path) and is_stdout(markdown):
        raise click.UsageError("Only one of --json and --markdown can go to standard output.")
    for given in (old, new):
        check_outputs(given, output, json_path, markdown)
    stages = Stages(quiet=quiet)
    notes: list[str] = []
    with stages.stage("read", "Reading both sides"):
        sides: list[Given] = []
        for path, fleet in ((old, old_fleet), (new, new_fleet)):
            side, note = read_side(path, fleet, mapping)
            sides.append(side)
            notes += [note] if note else []
    if today and not hasattr(sides[0], "sites"):
        raise click.UsageError("--today needs a fleet as OLD: a plan has no sheet Current.")
    names = _names(old, new)
    with stages.stage("compare", "Comparing (Ctrl-C goes on with what is known)") as show:
        found = find_differences(
            sides[0], sides[1], names=names, today=today, time_limit=time_limit, seed=seed, tell=show
        )
    with put_in_place():
        if output is not None:
            write_difference_workbook(found, output)
        hand_over(lambda: noun_to_json(found), json_path)
        hand_over(lambda: difference_to_markdown(found), markdown)
    to_stdout = is_stdout(json_path) or is_stdout(markdown)
    if not quiet:
        for note in notes:
            say(note, err=True)
        print_difference(found, files_among(output, json_path, markdown), err=to_stdout)
    return 1 if found.unknown else 0


def _names(old: Path, new: Path) -> tuple[str, str]:
    """Return what both sides are called: their file names, with their folders where those are the same."""
    if old.name != new.name:
        return old.name, new.name
    return str(old), str(new)
