"""`castingvote horizon`: when and where to add hosts."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from planner.cli.options import FLEET, QUIET, SEED, TIME_LIMIT, read_inventory
from planner.cli.output_options import check_outputs, json_file, put_in_place, workbook
from planner.cli.progress import Stages
from planner.cli.streams import files_among, hand_over, is_stdout, printable

if TYPE_CHECKING:
    from planner.scenarios.horizon.horizon_steps import Horizon


@click.command()
@FLEET
@click.option(
    "--from",
    "first",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="First day of the first period; the first of next month by default.",
)
@click.option(
    "--period",
    type=click.Choice(["year", "quarter", "month"]),
    help="Length of a period; the policy's by default.",
)
@click.option("--periods", type=click.IntRange(1, 240), metavar="NUMBER", help="How many; the policy's by default.")
@click.option(
    "--move-hosts", is_flag=True, help="Hosts may move to pools of the same cap and release, or be taken out."
)
@click.option(
    "--move-cost",
    type=click.FloatRange(min=0.0),
    default=0.0,
    show_default=True,
    metavar="MONEY",
    help="With --move-hosts: price of moving one host.",
)
@workbook("HORIZON", "Write tables and chart here.")
@json_file("HORIZON", "it")
@TIME_LIMIT
@SEED
@QUIET
def horizon(
    fleet: Path,
    first: dt.datetime | None,
    period: Literal["year", "quarter", "month"] | None,
    periods: int | None,
    move_hosts: bool,
    move_cost: float,
    output: Path | None,
    json_path: Path | None,
    time_limit: float | None,
    seed: int,
    quiet: bool,
) -> int:
    """Say when and where FLEET needs more hosts as sites open, close, grow and change release.

    Columns opens and closes of Sites and Hubs and the sheet Changes say what happens when. The plan buys the
    fewest hosts, then costs the least money; with objective cost only money counts. A site stays in its pool
    wherever it can. Ends with 1 when some site is unserved in some period. Ctrl-C keeps the best so far, after
    the demand of each period is known.

    \b
    Example:
        castingvote horizon fleet.xlsx --from 2027-01-01 --period quarter --periods 8 -o horizon.xlsx
    """
    from planner.cli.report import print_findings
    from planner.scenarios.horizon.book import write_horizon_workbook
    from planner.scenarios.horizon.horizon_sentences import to_json
    from planner.scenarios.horizon.plan_horizon import horizon as make_horizon

    check_outputs(fleet, output, json_path)
    stages = Stages(quiet=quiet)
    with stages.stage("read", "Reading the fleet"):
        inventory = read_inventory(fleet)
    with stages.stage("plan", "Planning the periods (Ctrl-C keeps the best so far)"):
        found = make_horizon(
            inventory,
            first.date() if first is not None else _next_month(),
            period=period,
            periods=periods,
            move_hosts=move_hosts,
            move_cost=move_cost,
            time_limit=stages.left(time_limit),
            seed=seed,
        )
    with put_in_place():
        if output is not None:
            write_horizon_workbook(found, output)
        hand_over(lambda: to_json(found), json_path)
    if not quiet:
        print_findings(found.notes)
        _print(found, files_among(output, json_path), err=is_stdout(json_path))
    return 1 if any(step.unserved for step in found.steps) else 0


def _next_month() -> dt.date:
    today = dt.date.today()
    return (today.replace(day=1) + dt.timedelta(days=31)).replace(day=1)


def _print(found: Horizon, written: list[Path], *, err: bool) -> None:
    from rich.table import Table
    from rich.text import Text

    from planner.cli.console import console
    from planner.scenarios.horizon.horizon_sentences import headline, some

    target = console(err=err)
    target.print(Text(printable(headline(found)), style="bold"))
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("period", no_wrap=True)
    for heading in ("sites", "clusters", "room for", "hosts", "fewest hosts", "moves", "not served"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("to buy", overflow="fold")
    for step in found.steps:
        figures = (step.sites, step.clusters, step.room, step.standing, step.least, len(step.moves), len(step.unserved))
        table.add_row(step.period.name, *(f"{n:,}" for n in figures), Text(printable(some(step.bought))))
    target.print(table)
    needed = found.next_host
    if needed is not None:
        due = f", order it by {needed.order_by.isoformat()}" if needed.order_by is not None else ""
        told = f"Next host by {needed.day.isoformat()}{due}: {', '.join(needed.pools)}. {needed.words}"
        target.print(Text(printable(told)))
        for delay in needed.delays:
            target.print(Text(printable(f"  {delay}")))
    target.print(
        Text(
            "Caution: figures of later periods are only as good as the dates and the growth that you entered.",
            style="dim",
        )
    )
    for path in written:
        target.print(Text(f"Written: {path}"))
