"""`castingvote designs`: a third node, or a third vote that is shared, dedicated or built in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import FLEET, QUIET, SEED, TIME_LIMIT, read_inventory
from planner.cli.output_options import check_outputs, json_file, put_in_place, workbook
from planner.cli.progress import Stages
from planner.cli.streams import files_among, hand_over, is_stdout, printable

if TYPE_CHECKING:
    from planner.scenarios.designs.design_comparison import Comparison


_FLIPS_SHOWN = 12  # the table stays a screenful


@click.command()
@FLEET
@workbook("DESIGNS", "Write tables and chart here.")
@json_file("DESIGNS", "it")
@click.option(
    "--plans",
    type=click.IntRange(min=2),
    default=200,
    show_default=True,
    help="Most plans to make in the search for break-even prices.",
)
@TIME_LIMIT
@SEED
@QUIET
def designs(
    fleet: Path,
    output: Path | None,
    json_path: Path | None,
    plans: int,
    time_limit: float | None,
    seed: int,
    quiet: bool,
) -> int:
    """Compare designs for FLEET: three nodes, or two with a shared, dedicated or own tie-breaker.

    Costs are those of the sheet Prices over the policy's years. The cheapest mix per site is found too, with
    its break-even prices: the prices of an own tie-breaker at which the cheapest mix changes. If time or --plans
    end that search early, the output says so.

    \b
    Example:
        castingvote designs fleet.xlsx -o designs.xlsx
    """
    from planner.cli.report import print_findings
    from planner.scenarios.designs.book import write_designs_workbook
    from planner.scenarios.designs.compare_designs import compare_designs
    from planner.scenarios.designs.design_sentences import to_json

    check_outputs(fleet, output, json_path)
    stages = Stages(quiet=quiet)
    with stages.stage("read", "Reading the fleet"):
        inventory = read_inventory(fleet)
    with stages.stage("plan", "Comparing designs") as show:
        found = compare_designs(
            inventory,
            most_plans=plans,
            time_limit=stages.left(time_limit),
            seed=seed,
            tell=lambda doing: show(f"Comparing designs: {doing}"),
        )
    with put_in_place():
        if output is not None:
            write_designs_workbook(found, output)
        hand_over(lambda: to_json(found), json_path)
    if not quiet:
        print_findings(found.notes)
        _print(found, files_among(output, json_path), err=is_stdout(json_path))
    return 0


def _print(found: Comparison, written: list[Path], *, err: bool) -> None:
    from rich.table import Table
    from rich.text import Text

    from planner.cli.console import console
    from planner.scenarios.designs.design_sentences import flips_in_words, headline

    target = console(err=err)
    target.print(Text(printable(headline(found)), style="bold"))
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("design", no_wrap=True)
    for heading in (
        "nodes",
        "hosts",
        "own tie-breakers",
        "sites",
        "not served",
        "minutes down a year",
        printable(f"{found.unit} in {found.years:g} years"),
        printable(f"{found.unit} a year"),
    ):
        table.add_column(heading, justify="right", no_wrap=True)
    for design in found.designs:
        total = "" if design.costs is None else f"{design.costs.total:,.2f}{'' if design.proven else ' (not proven)'}"
        figures = (design.nodes, design.hosts, design.own, design.sites, design.unserved)
        down = "" if design.down_minutes is None else f"{design.down_minutes:,.2f}"
        a_year = "" if design.a_year is None else f"{design.a_year:,.2f}"
        table.add_row(design.name, *(f"{number:,}" for number in figures), down, total, a_year)
    target.print(table)
    lines = flips_in_words(found)
    for line in lines[:_FLIPS_SHOWN]:
        target.print(Text(printable(line)))
    if len(lines) > _FLIPS_SHOWN:
        target.print(Text(f"... and {len(lines) - _FLIPS_SHOWN:,} more prices: see the workbook."))
    target.print(
        Text(
            "Caution: costs are only as good as the prices that you entered. Ask for offers before you decide.",
            style="dim",
        )
    )
    for path in written:
        target.print(Text(f"Written: {path}"))
