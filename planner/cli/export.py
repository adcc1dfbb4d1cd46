"""`castingvote export`: a plan for maps, spreadsheets and tickets."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

import click

from planner.cli.options import FLEET, QUIET, check_outputs, put_in_place, read_inventory
from planner.cli.streams import files_among, hand_over, say


@click.command()
@FLEET
@click.argument("plan", type=click.Path(path_type=Path))
@click.option(
    "--geojson",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write sites, hubs and the lines between them as GeoJSON; - is standard output.",
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
    from planner.outputs import plan_to_geojson, plan_to_markdown, read_plan, write_csv

    if geojson is None and folder is None and markdown is None:
        raise click.UsageError("Nothing to write: name --geojson, --csv or --markdown.")
    texts = [(path, render) for path, render in ((geojson, plan_to_geojson), (markdown, plan_to_markdown)) if path]
    if all(str(path) == "-" for path in (geojson, markdown)):
        raise click.UsageError("Only one of --geojson and --markdown can go to standard output.")
    _keep_inputs(fleet, plan, [path for path, _ in texts], folder)
    check_outputs(fleet, geojson, markdown)
    inventory, made = read_inventory(fleet), read_plan(plan)
    with put_in_place():
        written = [] if folder is None else write_csv(inventory, made, folder)
        for path, render in texts:
            hand_over(partial(render, inventory, made), path)
    written += files_among(*(path for path, _ in texts))
    if not quiet:
        for path in written:
            say(f"Written: {path}", err="-" in (str(geojson), str(markdown)))
    return 0


def _keep_inputs(fleet: Path, plan: Path, files: Sequence[Path], folder: Path | None) -> None:
    """Refuse outputs that would replace the plan, or mix with the .csv files of a fleet."""
    for path in files:
        if path.resolve() == plan.resolve():
            raise click.UsageError(f"{path} is the plan itself; name another file.")
    if folder is not None and folder.resolve() == fleet.resolve():
        raise click.UsageError(f"{folder} is the folder of the fleet; name another one.")
