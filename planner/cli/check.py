"""`castingvote check`: what is wrong or doubtful in a fleet, and what is open at its sites, without planning it."""

from __future__ import annotations

from pathlib import Path

import click

from planner.cli.options import FLEET, QUIET, given_mapping, given_pings, told_as
from planner.cli.output_options import FORCE, check_outputs, json_file, put_in_place, workbook_name
from planner.cli.streams import files_among, hand_over, is_stdout, say
from planner.counted_words import counted
from planner.errors import InputError


@click.command()
@FLEET
@json_file("CHECK", "findings and readiness")
@click.option(
    "--readiness",
    "readiness_path",
    type=click.Path(path_type=Path),
    callback=workbook_name,
    metavar="FILE.xlsx",
    help="Write the readiness of each site as a workbook.",
)
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
@click.option("--all", "every", is_flag=True, help="List every finding by itself, not one for each cause.")
@FORCE
@QUIET
def check(
    fleet: Path,
    json_path: Path | None,
    readiness_path: Path | None,
    repaired: Path | None,
    write_mapping: Path | None,
    every: bool,
    quiet: bool,
) -> int:
    """Report every problem in FLEET with its sheet and cell, and what is open before sites can use a shared host.

    Repairs are reported too: what was there and what was taken. Each site is ready, not confirmed (its open
    items are listed), or cannot use a shared host. Missing data is an open item too. Readiness changes
    neither the plan nor the exit code. Ends with 1 when there are errors in the data (readiness is not
    audited then), with 2 when FLEET cannot be read at all.

    \b
    Example:
        castingvote check fleet.xlsx
        castingvote check fleet.xlsx --readiness readiness.xlsx
        castingvote check fleet.xlsx --repaired clean.xlsx --write-mapping fleet.toml
    """
    from planner.cli.readiness import print_readiness
    from planner.cli.report import print_findings, tally
    from planner.intake import UNREADABLE, inspect_fleet, mapping_text
    from planner.outputs import check_to_json, write_readiness, write_repaired
    from planner.outputs.atomic import write_text
    from planner.readiness import audit

    check_outputs(fleet, json_path, readiness_path, repaired, write_mapping)
    inspection = inspect_fleet(fleet, given_mapping(), pings=given_pings(), every=every)
    inventory, findings = inspection.fleet, inspection.findings
    if inventory is None and any(finding.code in UNREADABLE for finding in findings):
        raise InputError(findings)
    readiness = None if inventory is None else audit(inventory)
    size = ""
    with put_in_place():
        if write_mapping is not None:
            write_text(write_mapping, mapping_text(inspection.layout))
        if inventory is not None and readiness is not None:
            size = f"{counted(len(inventory.site_ids), 'site')}, {counted(len(inventory.hub_ids), 'hub')}, "
            if readiness_path is not None:
                write_readiness(inventory, readiness, readiness_path)
            if repaired is not None:
                write_repaired(inventory, repaired)
        hand_over(lambda: check_to_json(findings, readiness), json_path)
    asked = [path for path in (readiness_path, repaired) if path is not None]
    if not is_stdout(json_path) and (not quiet or readiness is None):
        print_findings(findings, err=False, every=every)
        say(f"{told_as(fleet)}: {size}{tally(findings)}.")
        if readiness is not None:
            print_readiness(readiness)
        for path in (*files_among(json_path), write_mapping, *(asked if readiness is not None else ())):
            if path is not None:
                say(f"Written: {path}")
    for path in asked if readiness is None else ():
        say(f"Not written: {path}. Correct the errors first.", err=True)
    return 0 if readiness is not None else 1
