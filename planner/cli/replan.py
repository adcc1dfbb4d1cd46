"""`castingvote replan`: from today's assignments to a new plan, with as few moves as can be."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import FLEET, QUIET, check_outputs, json_file, put_in_place, read_inventory, solving, workbook
from planner.cli.progress import Stages, in_words
from planner.cli.streams import files_among, hand_over, is_stdout

if TYPE_CHECKING:
    from planner.replan import Point


@click.command()
@FLEET
@workbook("PLAN", "Write the new plan workbook here.")
@json_file("PLAN", "the new plan")
@click.option(
    "--drain",
    "emptied",
    multiple=True,
    metavar="HOST|HUB",
    help="Empty this host or hub; may be given several times.",
)
@click.option(
    "--freeze-assignments", "freeze", is_flag=True, help="Keep each site where it is if the rules allow, and only add."
)
@click.option(
    "--progress",
    "returned",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="PLAN.xlsx",
    help="Start from what this workbook says is done; may be given several times.",
)
@click.option(
    "--extra-hosts",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    help="Allow so many hosts more than the fewest, to move fewer sites.",
)
@click.option("--trade-off", "curve", is_flag=True, help="Print how many moves each further host would save.")
@solving
@QUIET
def replan(
    fleet: Path,
    output: Path | None,
    json_path: Path | None,
    emptied: tuple[str, ...],
    freeze: bool,
    returned: tuple[Path, ...],
    extra_hosts: int,
    curve: bool,
    time_limit: float | None,
    seed: int,
    thorough: bool,
    quiet: bool,
) -> int:
    """Plan FLEET anew from the hosts that its sheet Current names, with few moves.

    A move is a site that changes host, also within a pool; where fewer moves may do, it is said. Ends with
    1 when some site cannot be served. Ctrl-C keeps the best plan so far.

    \b
    Example:
        castingvote replan fleet.xlsx --drain ESK-01 -o plan.xlsx
        castingvote replan fleet.xlsx --progress returned.xlsx --trade-off
    """
    from planner.cli.report import print_findings, print_summary, print_trade_off
    from planner.outputs import plan_to_json, read_plan, write_workbook
    from planner.outputs.read_returned import read_copies
    from planner.replan import drained, plan_frozen, trade_off
    from planner.replan import replan as make_plan
    from planner.tracking import carried_on, merged

    check_outputs(fleet, output, json_path)
    if freeze and curve:
        raise click.UsageError("--trade-off weighs moves, and --freeze-assignments allows none: use one of them.")
    if freeze and extra_hosts:
        raise click.UsageError("--extra-hosts allows hosts to save moves, and --freeze-assignments allows no moves.")
    stages = Stages(quiet=quiet)
    with stages.stage("read", "Reading the fleet"):
        inventory = read_inventory(fleet)
        if returned:
            inventory = carried_on(inventory, read_plan(returned[0]), merged(read_copies(returned)))
        inventory = drained(inventory, emptied)
    words = f"Solving for {len(inventory.site_ids):,} sites (Ctrl-C keeps the best so far)"
    with stages.stage("solve", words) as show:
        make = plan_frozen if freeze else partial(make_plan, extra_hosts=extra_hosts)
        result = make(
            inventory,
            time_limit=stages.left(time_limit),
            seed=seed,
            thorough=thorough,
            watch=lambda progress: show(f"{words}: {in_words(progress)}"),
        )
    points: tuple[Point, ...] = ()
    if curve:
        with stages.stage("trade_off", "Weighing moves against hosts") as show:
            points = trade_off(inventory, result, time_limit=stages.left(time_limit), seed=seed, tell=show)
    with put_in_place():
        if output is not None:
            write_workbook(inventory, result, output)
        hand_over(lambda: plan_to_json(result), json_path)
    to_stdout = is_stdout(json_path)
    if not quiet:
        known = set(inventory.findings)
        print_findings(inventory.findings, least="warning")
        print_findings([finding for finding in result.findings if finding not in known])
        print_summary(inventory, result, files_among(output, json_path), err=to_stdout)
    if curve:
        print_trade_off(inventory, result, points, err=to_stdout)
    return 1 if result.unserved else 0
