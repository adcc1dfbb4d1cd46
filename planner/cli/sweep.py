"""`castingvote sweep`: many what-ifs at once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import FLEET, QUIET, read_inventory
from planner.cli.output_options import check_outputs, json_file, put_in_place, workbook
from planner.cli.progress import Stages
from planner.cli.streams import files_among, hand_over, is_stdout

if TYPE_CHECKING:
    from planner.scenarios.sweeping import Done


def _picture_name(_context: click.Context, _parameter: click.Parameter, path: Path | None) -> Path | None:
    from planner.scenarios.charts import PICTURES

    if path is not None and path.suffix.lower() not in PICTURES:
        raise click.BadParameter(f"{path} is to be a picture; give a name that ends in {' or '.join(PICTURES)}.")
    return path


@click.command()
@FLEET
@click.option(
    "--vary",
    multiple=True,
    metavar="NAME=VALUES",
    help="A setting, or a column of all sites or hubs, and its values: cover=none,hub or latency_budget_ms=20:80:5 "
    "(first:last:step) or sites.latency_budget_ms=x0.8,x1 (times what it is). Repeat it for every combination.",
)
@click.option(
    "--scenarios",
    "scenario_file",
    type=click.Path(path_type=Path),
    metavar="FILE.toml",
    help="Named changes to policy, sites and hubs, combinations, and random growth with seeds.",
)
@workbook("SWEEP", "Write tables and chart here.")
@json_file("SWEEP", "all points")
@click.option(
    "--chart",
    type=click.Path(path_type=Path),
    callback=_picture_name,
    metavar="FILE.svg",
    help="Draw the curves as .png or .svg (needs the extra charts).",
)
@click.option(
    "--store",
    type=click.Path(path_type=Path),
    metavar="FILE.sqlite",
    help="Keep finished scenarios here and do not plan them again: a sweep that was stopped goes on.",
)
@click.option(
    "--jobs", type=click.IntRange(min=1), metavar="NUMBER", help="Processes to work in; all processors by default."
)
@click.option("--dask", metavar="ADDRESS", help="Work on a Dask cluster instead, such as tcp://10.0.0.5:8786.")
@click.option(
    "--aims",
    is_flag=True,
    help='Also optimise the aims of the setting "then"; report moves, mean RTT, hubs, new hosts, cost. Takes longer.',
)
@click.option("--solve-all", is_flag=True, help="Plan every scenario, even if others already prove its result.")
@click.option(
    "--rtt-spread",
    type=click.FloatRange(min=0.0, max=1000.0),
    metavar="PERCENT",
    help="Estimate how likely budgets hold if each RTT varies by this coefficient of variation (Monte Carlo).",
)
@click.option(
    "--hub-spread",
    type=click.FloatRange(min=0.0, max=1000.0),
    default=0.0,
    show_default=True,
    metavar="PERCENT",
    help="With --rtt-spread: the variation that all RTTs to one hub share.",
)
@click.option(
    "--draws",
    type=click.IntRange(min=2, max=1_000_000),
    default=1000,
    show_default=True,
    help="How often the values are drawn at random (Monte Carlo).",
)
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0.0),
    metavar="SECONDS",
    help="Stop each scenario's solving after this long.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0, max=2**31 - 1),
    default=0,
    show_default=True,
    help="Start number for the random choices of the solver and the draws; random growth has its own.",
)
@QUIET
def sweep(
    fleet: Path,
    vary: tuple[str, ...],
    scenario_file: Path | None,
    output: Path | None,
    json_path: Path | None,
    chart: Path | None,
    store: Path | None,
    jobs: int | None,
    dask: str | None,
    aims: bool,
    solve_all: bool,
    rtt_spread: float | None,
    hub_spread: float,
    draws: int,
    time_limit: float | None,
    seed: int,
    quiet: bool,
) -> int:
    """Plan FLEET as it is and in many what-ifs: a table of hosts, each with its proof or gap.

    A varied setting does not change sites or hubs that state their own value. To vary latency_budget_ms for
    all sites, for example, vary sites.latency_budget_ms.
    Ends with 1 when some scenario could not be planned. Ctrl-C keeps the points so far.

    \b
    Example:
        castingvote sweep fleet.xlsx --vary latency_budget_ms=20:80:5 --vary cluster_cap=64,128 -o sweep.xlsx
    """
    from planner.cli.report import print_findings
    from planner.cli.sweep_report import print_sweep
    from planner.scenarios.certainty import Uncertainty
    from planner.scenarios.charts import write_picture
    from planner.scenarios.scenario_file import read_scenarios
    from planner.scenarios.sweep_book import write_sweep_workbook
    from planner.scenarios.sweep_words import to_json
    from planner.scenarios.sweeping import sweep as make_sweep
    from planner.scenarios.task import Options
    from planner.scenarios.vary import axis_of, combined, notes_on

    if not vary and scenario_file is None:
        raise click.UsageError("Nothing is varied: give --vary NAME=VALUES or --scenarios FILE.toml.")
    check_outputs(fleet, output, json_path, chart, store)
    axes = [axis_of(option) for option in vary]
    scenarios = combined(axes, read_scenarios(scenario_file) if scenario_file is not None else [])
    uncertainty = None if rtt_spread is None else Uncertainty(rtt_spread, hub_spread, draws, seed)
    stages = Stages(quiet=quiet)
    with stages.stage("read", "Reading the fleet"):
        inventory = read_inventory(fleet)
    words = f"Planning {len(scenarios):,} scenarios (Ctrl-C keeps what is done)"
    with stages.stage("plan", words) as show:
        found = make_sweep(
            inventory,
            scenarios,
            options=Options(seed, time_limit, aims, uncertainty),
            jobs=jobs,
            dask=dask,
            store=store,
            solve_all=solve_all,
            notes=notes_on(inventory, axes),
            tell=lambda done: show(f"{words}: {_in_words(done)}"),
        )
    with put_in_place():
        if output is not None:
            write_sweep_workbook(found, output)
        if chart is not None:
            write_picture(found, chart)
        hand_over(lambda: to_json(found), json_path)
    if not quiet:
        print_findings(found.notes, least="warning")
        print_sweep(found, files_among(output, chart, json_path), err=is_stdout(json_path))
    return 1 if any(point.figures is None for point in found.points) else 0


def _in_words(done: Done) -> str:
    left = "" if done.seconds_left is None else f", about {done.seconds_left:,.0f} s left"
    return f"{done.known:,} of {done.of:,}{left}"
