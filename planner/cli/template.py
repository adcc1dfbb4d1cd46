"""`castingvote template`: an empty fleet workbook to fill in."""

from __future__ import annotations

from pathlib import Path

import click

from planner.cli.options import QUIET
from planner.cli.output_options import keep_beside, put_in_place, workbook_name
from planner.cli.streams import say


@click.command()
@click.argument("output", type=click.Path(path_type=Path), default="fleet.xlsx", callback=workbook_name)
@click.option("--force", is_flag=True, help="Replace OUTPUT if it exists; a copy of it is kept beside it.")
@QUIET
def template(output: Path, force: bool, quiet: bool) -> int:
    """Write an empty fleet workbook with drop-downs, a note for each column and an example.

    It goes to OUTPUT, or to fleet.xlsx in the current folder, and never replaces a file unasked.

    \b
    Example:
        castingvote template fleet.xlsx
    """
    from planner.outputs import write_template

    if output.exists() and not force:
        raise click.UsageError(f"{output} exists and may hold your fleet; name another file or add --force.")
    keep_beside([output] if output.is_file() else [])
    with put_in_place():
        write_template(output)
    if not quiet:
        say(f"Written: {output}. Fill in Sites, Hubs and Latency, then: castingvote plan {output} -o plan.xlsx")
    return 0
