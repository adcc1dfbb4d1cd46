"""`castingvote report`: a plan as one HTML page with map, drill and charts."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import FLEET, QUIET, check_outputs, page_name, read_inventory
from planner.cli.progress import Stages
from planner.cli.streams import say
from planner.words import counted

if TYPE_CHECKING:
    from planner.explain import BudgetPoint
    from planner.fleet import Fleet
    from planner.plan import Plan
    from planner.verify import Violation


CURVE_SECONDS = 20.0


@click.command()
@FLEET
@click.argument("plan", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    callback=page_name,
    required=True,
    metavar="PLAN.html",
    help="Write the page here.",
)
@click.option(
    "--curve-seconds",
    type=click.FloatRange(min=0.0),
    default=CURVE_SECONDS,
    show_default=True,
    metavar="SECONDS",
    help="Time for planning other latency budgets, for the chart of hosts against budgets; 0 leaves it out.",
)
@QUIET
def report(fleet: Path, plan: Path, output: Path, curve_seconds: float, quiet: bool) -> int:
    """Write PLAN (a plan workbook or plan.json) of FLEET as one HTML page that opens anywhere, offline.

    The page has a map, hosts, a drill, all assignments, charts, and what to heed. It asks no network for
    anything. Ends with 1 when the plan does not hold: the page then says so on top.

    \b
    Example:
        castingvote report fleet.xlsx plan.xlsx -o plan.html
    """
    from planner.outputs import read_plan
    from planner.verify import verify

    check_outputs(fleet, output)
    stages = Stages(quiet=quiet)
    with stages.stage("read", "Reading fleet and plan"):
        inventory, made = read_inventory(fleet), read_plan(plan)
        violations = [v for v in verify(inventory, made) if v.severity == "violation"]
    write_page(stages, inventory, made, output, violations, curve_seconds=curve_seconds)
    if violations:
        say(f"The plan does not hold: {counted(len(violations), 'violation')}, see castingvote verify.", err=True)
    if not quiet:
        say(f"Written: {output}")
    return 1 if violations else 0


def write_page(
    stages: Stages,
    fleet: Fleet,
    plan: Plan,
    path: Path,
    violations: Sequence[Violation] = (),
    *,
    curve_seconds: float,
) -> None:
    """Plan other latency budgets for at most ``curve_seconds``, then write the page; Ctrl-C goes on to the page."""
    from planner.explain import budget_curve
    from planner.outputs import write_report as write_html

    words = f"Planning other latency budgets for the report, at most {curve_seconds:g} s (Ctrl-C goes on without)"
    curve: tuple[BudgetPoint, ...] = ()
    if curve_seconds > 0:
        with stages.stage("curve", words) as show:
            curve = budget_curve(
                fleet, plan, time_limit=curve_seconds, tell=lambda share: show(f"{words}: {share:.0%} of today's")
            )
    with stages.stage("report", "Writing the report"):
        write_html(fleet, plan, path, violations=violations, curve=curve)
