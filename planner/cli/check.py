"""`castingvote check`: what is wrong or doubtful in a fleet, without planning it."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import click

from planner.cli.options import FLEET, QUIET, check_outputs, given_mapping, workbook_name
from planner.cli.report import print_findings, tally
from planner.cli.streams import say
from planner.errors import InputError
from planner.intake import UNREADABLE, inspect_fleet, mapping_text
from planner.outputs import write_repaired
from planner.outputs.atomic import replacing
from planner.outputs.words import counted


@click.command()
@FLEET
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON on standard output.")
@click.option(
    "--repaired",
    type=click.Path(path_type=Path),
    callback=workbook_name,
    metavar="FLEET.xlsx",
    help="Write the fleet as it was read, every repair made, to this workbook; not when there are errors.",
)
@click.option(
    "--write-mapping",
    type=click.Path(path_type=Path),
    metavar="MAPPING.toml",
    help="Write which sheet, header and column is which to this file, for --mapping.",
)
@QUIET
def check(fleet: Path, as_json: bool, repaired: Path | None, write_mapping: Path | None, quiet: bool) -> int:
    """Report every problem in FLEET with its sheet and cell, and how to mend it.

    Repairs are reported too: what was there and what was taken. Ends with 1 when there are errors in the
    data, with 2 when FLEET cannot be read at all.

    \b
    Example:
        castingvote check fleet.xlsx
        castingvote check fleet.xlsx --repaired clean.xlsx --write-mapping fleet.toml
    """
    check_outputs(fleet, repaired, write_mapping)
    inspection = inspect_fleet(fleet, given_mapping())
    inventory, findings, size = inspection.fleet, inspection.findings, ""
    if inventory is not None:
        size = f"{counted(len(inventory.site_ids), 'site')}, {counted(len(inventory.hub_ids), 'hub')}, "
    elif any(finding.code in UNREADABLE for finding in findings):
        raise InputError(findings)
    if write_mapping is not None:
        with replacing(write_mapping) as temporary:
            temporary.write_text(mapping_text(inspection.layout), encoding="utf-8")
    if repaired is not None and inventory is not None:
        write_repaired(inventory, repaired)
    errors = any(finding.severity == "error" for finding in findings)
    if as_json:
        say(json.dumps([dataclasses.asdict(f) for f in findings], indent=2))
    elif not quiet or errors:
        print_findings(findings, err=False)
        say(f"{fleet}: {size}{tally(findings)}.")
        if write_mapping is not None:
            say(f"Written: {write_mapping}")
        if repaired is not None:
            say(
                f"Written: {repaired}"
                if inventory
                else f"Not written: {repaired}, since there are errors to mend first."
            )
    return 1 if errors else 0
