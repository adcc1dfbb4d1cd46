"""`castingvote verify`: check a plan, also one edited by hand, against its fleet."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import click

from planner.cli.options import FLEET, QUIET
from planner.cli.report import print_violations
from planner.cli.streams import say
from planner.intake import read_fleet
from planner.outputs import read_plan
from planner.outputs.words import counted
from planner.verify import verify as check_plan


@click.command()
@FLEET
@click.argument("plan", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the violations as JSON on standard output.")
@QUIET
def verify(fleet: Path, plan: Path, as_json: bool, quiet: bool) -> int:
    """Check PLAN (a plan workbook or plan.json, also edited by hand) against FLEET.

    The check shares no code with the planning. Ends with 1 when the plan does not hold, and prints
    every violation.

    \b
    Example:
        castingvote verify fleet.xlsx plan.xlsx
    """
    found = check_plan(read_fleet(fleet), read_plan(plan))
    violations = [v for v in found if v.severity == "violation"]
    if as_json:
        say(json.dumps([dataclasses.asdict(v) for v in found], indent=2))
    elif violations or not quiet:
        print_violations(found)
        say(f"{counted(len(violations), 'violation')}." if violations else "The plan holds.")
    return 1 if violations else 0
