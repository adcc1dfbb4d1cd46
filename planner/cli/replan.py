"""`castingvote replan`: from today's assignments to a new plan, with as few moves as can be."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Literal

import click

from planner.cli.options import FLEET, QUIET, check_outputs, read_inventory, solving, workbook_name
from planner.cli.progress import Stages, in_words
from planner.cli.report import print_findings, print_summary, print_trade_off
from planner.cli.streams import say
from planner.fleet import Fleet
from planner.outputs import plan_to_json, read_plan, write_json, write_workbook
from planner.outputs.read_returned import read_copies
from planner.plan import Plan
from planner.replan import drained, plan_frozen, trade_off
from planner.replan import replan as make_plan
from planner.tracking import carried_on, merged


@click.command(short_help="Plan anew from today: drain, freeze, fewest moves.")
@FLEET
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    callback=workbook_name,
    metavar="PLAN.xlsx",
    help="Write the new plan workbook here.",
)
@click.option(
    "--json",
    "json_path",
    type=click.Path(path_type=Path),
    metavar="PLAN.json",
    help="Write the new plan as JSON; - is standard output, which then carries nothing else.",
)
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
    solver: Literal["highs", "cbc"],
    thorough: bool,
    quiet: bool,
) -> int:
    """Plan FLEET anew from the hosts that its sheet Current names, with as few moves as can be.

    A move is a site that changes host, also within a pool. Ends with 1 when some site cannot be served.
    Ctrl-C keeps the best plan so far.

    \b
    Example:
        castingvote replan fleet.xlsx --drain ESK-01 -o plan.xlsx
        castingvote replan fleet.xlsx --progress returned.xlsx --trade-off
    """
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
            time_limit=time_limit,
            seed=seed,
            solver=solver,
            thorough=thorough,
            watch=lambda progress: show(f"{words}: {in_words(progress)}"),
        )
    to_stdout = json_path is not None and str(json_path) == "-"
    written = _write(inventory, result, output, json_path)
    if not quiet:
        print_findings(inventory.findings, least="warning")
        print_summary(result, written, err=to_stdout)
    if curve:
        with stages.stage("trade_off", "Weighing moves against hosts") as show:
            points = trade_off(inventory, result, time_limit=time_limit, seed=seed, tell=show)
        print_trade_off(points, err=to_stdout)
    return 1 if result.unserved else 0


def _write(inventory: Fleet, result: Plan, output: Path | None, json_path: Path | None) -> list[Path]:
    """Write the plan where it is wanted; return the files."""
    written = [path for path in (output, json_path) if path is not None and str(path) != "-"]
    if output is not None:
        write_workbook(inventory, result, output)
    if json_path is not None and json_path in written:
        write_json(result, json_path)
    elif json_path is not None:
        say(plan_to_json(result).rstrip())
    return written
