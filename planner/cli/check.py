"""`castingvote check`: what is wrong or doubtful in a fleet, without planning it."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import click

from planner.cli.options import FLEET, QUIET
from planner.cli.report import print_findings, tally
from planner.cli.streams import say
from planner.errors import InputError
from planner.fleet import Finding
from planner.intake import UNREADABLE, read_fleet
from planner.outputs.words import counted


@click.command()
@FLEET
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON on standard output.")
@QUIET
def check(fleet: Path, as_json: bool, quiet: bool) -> int:
    """Report every problem in FLEET with its sheet and cell, and how to mend it.

    Ends with 1 when there are errors in the data, with 2 when FLEET cannot be read at all.

    \b
    Example:
        castingvote check fleet.xlsx
    """
    findings: tuple[Finding, ...]
    try:
        inventory = read_fleet(fleet)
    except InputError as error:
        if any(finding.code in UNREADABLE for finding in error.findings):
            raise
        findings, size = error.findings, ""
    else:
        findings = inventory.findings
        size = f"{counted(len(inventory.site_ids), 'site')}, {counted(len(inventory.hub_ids), 'hub')}, "
    errors = any(finding.severity == "error" for finding in findings)
    if as_json:
        say(json.dumps([dataclasses.asdict(f) for f in findings], indent=2))
    elif not quiet or errors:
        print_findings(findings, err=False)
        say(f"{fleet}: {size}{tally(findings)}.")
    return 1 if errors else 0
