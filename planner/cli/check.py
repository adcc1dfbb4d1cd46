"""`castingvote check`: what is wrong or doubtful in a fleet, without planning it."""

from __future__ import annotations

from pathlib import Path

import click

from planner.cli.options import FLEET, PINGS, QUIET, check_outputs, workbook_name
from planner.cli.readiness import print_readiness
from planner.cli.report import print_findings, tally
from planner.cli.streams import say
from planner.errors import InputError
from planner.fleet import Finding
from planner.intake import UNREADABLE, read_fleet
from planner.outputs import check_to_json, write_readiness
from planner.outputs.words import counted
from planner.readiness import audit


@click.command(short_help="Report problems in a fleet, and what is open at which site.")
@FLEET
@PINGS
@click.option("--json", "as_json", is_flag=True, help="Print findings and readiness as JSON on standard output.")
@click.option(
    "--readiness",
    "readiness_path",
    type=click.Path(path_type=Path),
    callback=workbook_name,
    metavar="FILE.xlsx",
    help="Write the readiness of each site as a workbook.",
)
@QUIET
def check(fleet: Path, pings: Path | None, as_json: bool, readiness_path: Path | None, quiet: bool) -> int:
    """Report every problem in FLEET with its sheet and cell, and what is open before sites can use a shared host.

    A site is ready, ready after the items listed for it, or not a fit; what is not known is an item too.
    Readiness does not change the plan or the exit code. Ends with 1 when there are errors in the data
    (readiness is not audited then), with 2 when FLEET cannot be read at all.

    \b
    Example:
        castingvote check fleet.xlsx
        castingvote check fleet.xlsx --readiness readiness.xlsx
    """
    check_outputs(fleet, readiness_path)
    findings: tuple[Finding, ...]
    readiness = None
    try:
        inventory = read_fleet(fleet, pings=pings)
    except InputError as error:
        if any(finding.code in UNREADABLE for finding in error.findings):
            raise
        findings, size = error.findings, ""
    else:
        findings, readiness = inventory.findings, audit(inventory)
        size = f"{counted(len(inventory.site_ids), 'site')}, {counted(len(inventory.hub_ids), 'hub')}, "
        if readiness_path is not None:
            write_readiness(inventory, readiness, readiness_path)
    if as_json:
        say(check_to_json(findings, readiness).rstrip())
    elif not quiet or readiness is None:
        print_findings(findings, err=False)
        say(f"{fleet}: {size}{tally(findings)}.")
        if readiness is not None:
            print_readiness(readiness)
            if readiness_path is not None:
                say(f"Written: {readiness_path}")
    if readiness is None and readiness_path is not None:
        say(f"Not written: {readiness_path}. Mend the errors first.", err=True)
    return 0 if readiness is not None else 1
