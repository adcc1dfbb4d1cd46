"""`castingvote export`: a plan for maps, spreadsheets and tickets."""

from __future__ import annotations

from pathlib import Path

import click

from planner.cli.options import FLEET, QUIET, check_outputs
from planner.cli.streams import say
from planner.intake import read_fleet
from planner.outputs import plan_to_markdown, read_plan, write_csv, write_geojson, write_markdown


@click.command()
@FLEET
@click.argument("plan", type=click.Path(path_type=Path))
@click.option(
    "--geojson",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write sites, hubs and the lines between them as GeoJSON.",
)
@click.option(
    "--csv",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Write every table of the plan as .csv into this folder; it is made if it does not exist.",
)
@click.option(
    "--markdown",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a summary to paste into a ticket; - is standard output.",
)
@QUIET
def export(
    fleet: Path, plan: Path, geojson: Path | None, folder: Path | None, markdown: Path | None, quiet: bool
) -> int:
    """Write PLAN (a plan workbook or plan.json) of FLEET for other programs.

    Texts in .csv files that a spreadsheet program would take for a formula begin with an apostrophe.

    \b
    Example:
        castingvote export fleet.xlsx plan.json --geojson plan.geojson --csv tables --markdown plan.md
    """
    if geojson is None and folder is None and markdown is None:
        raise click.UsageError("Nothing to write: name --geojson, --csv or --markdown.")
    for path in (geojson, markdown):
        if path is not None and path.resolve() == plan.resolve():
            raise click.UsageError(f"{path} is the plan itself; name another file.")
    if folder is not None and folder.resolve() == fleet.resolve():
        raise click.UsageError(f"{folder} is the folder of the fleet; name another one.")
    check_outputs(fleet, geojson, markdown)
    inventory, made = read_fleet(fleet), read_plan(plan)
    written = []
    if geojson is not None:
        write_geojson(inventory, made, geojson)
        written.append(geojson)
    if folder is not None:
        written += write_csv(inventory, made, folder)
    if markdown is not None and str(markdown) == "-":
        say(plan_to_markdown(inventory, made).rstrip())
    elif markdown is not None:
        write_markdown(inventory, made, markdown)
        written.append(markdown)
    if not quiet:
        for path in written:
            say(f"Written: {path}", err=str(markdown) == "-")
    return 0
