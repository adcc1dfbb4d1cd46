"""`castingvote availability`: expected down time of the clusters of a plan."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import FLEET, QUIET, read_inventory
from planner.cli.output_options import check_outputs, json_file, put_in_place, workbook
from planner.cli.streams import files_among, hand_over, is_stdout, printable, say

if TYPE_CHECKING:
    from rich.table import Table

    from planner.resilience import Availability


_SHOWN = 5


@click.command()
@FLEET
@click.argument("plan", type=click.Path(path_type=Path))
@json_file("AVAILABILITY", "everything")
@workbook("AVAILABILITY", "Write the figures, also those of each site, as a workbook here.")
@QUIET
def availability(fleet: Path, plan: Path, json_path: Path | None, output: Path | None, quiet: bool) -> int:
    """Say how long the clusters of PLAN (a plan workbook or plan.json) are expected to be down in a year.

    It needs figures for nodes, hosts, hubs and uplinks in FLEET: percent, or mean hours between
    failures and to repair. Without them nothing is computed, and what to fill in is listed. Ends with 1
    where sites are left out, because figures are missing.

    \b
    Example:
        castingvote availability fleet.xlsx plan.xlsx
    """
    from planner.outputs import read_plan, write_availability_workbook
    from planner.outputs.noun_json import noun_to_json
    from planner.resilience import availability as compute

    check_outputs(fleet, output, json_path, plan=plan)
    found = compute(read_inventory(fleet), read_plan(plan))
    with put_in_place():
        if output is not None:
            write_availability_workbook(found, output)
        hand_over(lambda: noun_to_json(found), json_path)
    if not quiet and not is_stdout(json_path):
        _print(found)
        for path in files_among(output, json_path):
            say(f"Written: {path}")
    return 1 if found.missing else 0


def _print(found: Availability) -> None:
    from rich.text import Text

    from planner.cli.console import console
    from planner.outputs.availability_sheets import PART_WORDS, headline

    target = console()
    target.print(Text(headline(found), style="bold"))
    for missing in found.missing:
        target.print(Text(printable(missing.words)))
    if found.left_out:
        target.print(Text(f"{found.left_out:,} sites are left out, because figures are missing."))
    for note in found.notes:
        target.print(Text(printable(note)))
    if not found.sites:
        return
    target.print(Text("\nDown time that would be avoided if a part never failed", style="bold"))
    table = _table("part", "name", "minutes a year", "share")
    kinds, named = ([s for s in found.parts if bool(s.name) == wanted] for wanted in (False, True))
    for share in (*kinds, *named[:_SHOWN]):
        figures = (f"{share.cluster_minutes:,.1f}", f"{share.share:.1%}")
        table.add_row(PART_WORDS[share.part], Text(printable(share.name or "all")), *figures)
    target.print(table)
    if found.together:
        target.print(Text("\nClusters down at the same time, minutes a year", style="bold"))
        table = _table("at least this number", "", "down", "without third vote")
        for row in found.together:
            figures = (f"{row.down_minutes:,.4f}", f"{row.without_vote_minutes:,.4f}")
            table.add_row(f"{row.clusters:,}", "clusters", *figures)
        target.print(table)
    target.print(Text("\nMost minutes a year down, of each cluster", style="bold"))
    table = _table("site", "host", "down", "with cover")
    for site in sorted(found.sites, key=lambda one: (-one.minutes, one.site))[:_SHOWN]:
        covered = "" if site.covered_minutes is None else f"{site.covered_minutes:,.1f}"
        cells = (printable(site.site), printable(", ".join(site.hosts) or "none"))
        table.add_row(*map(Text, cells), f"{site.minutes:,.1f}", covered)
    target.print(table)
    for assumption in found.assumptions:
        target.print(Text(f"Assumed: {assumption}", style="dim"))


def _table(*heads: str) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for number, head in enumerate(heads):
        table.add_column(head, justify="left" if number < 2 else "right", overflow="fold")
    return table
