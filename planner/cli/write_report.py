"""`castingvote report`: a plan as one HTML page with map, drill and charts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import FLEET, PROGRESS, QUIET, fleet_and_plan, given_mapping
from planner.cli.output_options import check_outputs, page_name, put_in_place
from planner.cli.progress import Stages
from planner.cli.streams import say
from planner.counted_words import counted

if TYPE_CHECKING:
    from planner.differences import Difference
    from planner.explain import BudgetPoint
    from planner.fleet import Fleet
    from planner.plan import Plan


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
@PROGRESS
@click.option(
    "--since",
    type=click.Path(path_type=Path),
    metavar="OLD",
    help="Add what changed since OLD, a plan or a fleet, and why; see `compare`. Takes up to a minute more.",
)
@QUIET
def report(fleet: Path, plan: Path, output: Path, curve_seconds: float, since: Path | None, quiet: bool) -> int:
    """Write PLAN (a plan workbook or plan.json) of FLEET as one HTML page that opens anywhere, offline.

    The page has a map, hosts, a drill, all assignments, charts, and what to watch for. It asks no network for
    anything. Ends with 1 when the plan does not hold: the page then says so on top.

    \b
    Example:
        castingvote report fleet.xlsx plan.xlsx -o plan.html
    """
    from planner.outputs import write_report as write_html
    from planner.verify import verify

    check_outputs(fleet, output)
    if since is not None:
        check_outputs(since, output)
    stages = Stages(quiet=quiet)
    with stages.stage("read", "Reading fleet and plan"):
        inventory, made = fleet_and_plan(fleet, plan)
        violations = [v for v in verify(inventory, made) if v.severity == "violation"]
    curve = curve_of(stages, inventory, made, curve_seconds)
    difference = None if since is None else _difference(stages, since, (inventory, made), plan.name)
    with put_in_place(), stages.stage("report", "Writing the report"):
        write_html(inventory, made, output, violations=violations, curve=curve, difference=difference)
    if violations:
        say(f"The plan does not hold: {counted(len(violations), 'violation')}, see castingvote verify.", err=True)
    if not quiet:
        say(f"Written: {output}")
    return 1 if violations else 0


def _difference(stages: Stages, since: Path, new: tuple[Fleet, Plan], name: str) -> Difference:
    """Compare the plan with an older one, or with that of a fleet."""
    from planner.differences import compare
    from planner.differences.sources import read_side

    words = f"Comparing with {since} (Ctrl-C goes on with what is known)"
    with stages.stage("compare", words) as show:
        old, _ = read_side(since, None, given_mapping())
        return compare(old, new, names=(since.name, name), tell=show)


def curve_of(stages: Stages, fleet: Fleet, plan: Plan, seconds: float) -> tuple[BudgetPoint, ...]:
    """Plan other latency budgets for at most ``seconds``; Ctrl-C goes on with those so far."""
    from planner.explain import budget_curve

    if seconds <= 0:
        return ()
    words = f"Planning other latency budgets for the report, at most {seconds:g} s (Ctrl-C goes on without)"
    with stages.stage("curve", words) as show:
        return budget_curve(
            fleet, plan, time_limit=seconds, tell=lambda share: show(f"{words}: {share:.0%} of today's budgets")
        )
