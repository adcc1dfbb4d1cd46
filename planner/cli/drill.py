"""`castingvote drill`: what one loss, or every loss, does to a plan."""

from __future__ import annotations

from pathlib import Path

import click

from planner.cli.options import FLEET, PROGRESS, QUIET, called_as_planned, read_inventory
from planner.cli.output_options import check_outputs, json_file, put_in_place, workbook
from planner.cli.progress import Stages
from planner.cli.streams import files_among, hand_over, is_stdout, say


@click.command()
@FLEET
@click.argument("plan", type=click.Path(path_type=Path))
@click.option(
    "--lose",
    multiple=True,
    metavar="WHAT",
    help="Lose this host, hub, zone or link FROM--TO; several at once. Prefixes host:, hub:, zone:, link:, node:.",
)
@json_file("DRILL", "the drill")
@workbook("DRILL", "Write the drill as a workbook here.")
@PROGRESS
@QUIET
def drill(
    fleet: Path, plan: Path, lose: tuple[str, ...], json_path: Path | None, output: Path | None, quiet: bool
) -> int:
    """Lose a part of FLEET and see which sites of PLAN (a plan workbook or plan.json) go to which host.

    Without --lose every single loss of a host, hub, zone and WAN link is tried, and the worst pairs are
    searched. With --lose, it ends with 1 when the loss leaves a cluster without a third vote or
    overfills a host. Without --lose, it ends with 1 when the plan does not survive a loss that its cover
    claims to survive.

    \b
    Example:
        castingvote drill fleet.xlsx plan.xlsx
        castingvote drill fleet.xlsx plan.xlsx --lose ESK --lose link:R1--R2
    """
    from planner.cli.losses import print_drill, print_drills
    from planner.outputs import read_plan, write_drill_workbook
    from planner.outputs.noun_json import noun_to_json
    from planner.resilience import drill as run_drill

    check_outputs(fleet, output, json_path, plan=plan)
    stages = Stages(quiet=quiet)
    with stages.stage("read", "Reading the fleet and the plan"):
        given, made = read_inventory(fleet), read_plan(plan)
        inventory = called_as_planned(given, made)
    with stages.stage("drill", "Trying every loss"):
        report = run_drill(inventory, made, lose)
    with put_in_place():
        if output is not None:
            write_drill_workbook(report, output)
        hand_over(lambda: noun_to_json(report), json_path)
    if not quiet and not is_stdout(json_path):
        if report.drill is not None:
            print_drill(report, report.drill)
        else:
            print_drills(report)
        for path in files_among(output, json_path):
            say(f"Written: {path}")
    objection = not report.drill.figures.survived if report.drill is not None else bool(report.broken)
    return 1 if objection else 0
