"""`castingvote verify`: check a plan, also one edited by hand, against its fleet."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import FLEET, QUIET, read_inventory
from planner.cli.streams import say
from planner.words import counted

if TYPE_CHECKING:
    from planner.verify import ProofCheck, Violation


@click.command()
@FLEET
@click.argument("plan", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the violations as JSON on standard output.")
@click.option("--proof", "with_proof", is_flag=True, help="Prove the plan's lower bound again, from FLEET alone.")
@QUIET
def verify(fleet: Path, plan: Path, as_json: bool, with_proof: bool, quiet: bool) -> int:
    """Check PLAN (a plan workbook or plan.json, also edited by hand) against FLEET.

    The check shares no code with the planning. Ends with 1 when the plan does not hold, and prints
    every violation. With --proof each set of sites that the proof names is counted again and the
    bound added up in exact fractions; a proof that does not hold ends with 1 too, a bound that is no
    proof is said to be one.

    \b
    Example:
        castingvote verify fleet.xlsx plan.json --proof
    """
    from planner.cli.report import print_violations
    from planner.outputs import read_plan
    from planner.verify import verify as check_plan
    from planner.verify import verify_proof

    inventory, made = read_inventory(fleet), read_plan(plan)
    found = check_plan(inventory, made)
    checked = verify_proof(inventory, made) if with_proof else None
    violations = [v for v in found if v.severity == "violation"]
    broken = checked is not None and checked.verdict == "broken"
    if as_json:
        say(json.dumps(_as_data(found, checked), indent=2, allow_nan=False))
    elif violations or broken or not quiet:
        print_violations([*found, *(checked.violations if checked else ())])
        say(f"{counted(len(violations), 'violation')}." if violations else "The plan holds.")
        if checked is not None:
            say(checked.words)
    return 1 if violations or broken else 0


def _as_data(found: Sequence[Violation], checked: ProofCheck | None) -> object:
    """Return the violations as plain data and, where the proof was asked for, its verdict beside them."""
    listed = [dataclasses.asdict(violation) for violation in found]
    return listed if checked is None else {"violations": listed, "proof": dataclasses.asdict(checked)}
