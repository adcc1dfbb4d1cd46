"""`castingvote verify`: check a plan, also one edited by hand, against its fleet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import FLEET, PROGRESS, QUIET, fleet_and_plan, read_inventory
from planner.cli.output_options import check_outputs, json_file, put_in_place
from planner.cli.streams import hand_over, is_stdout, printable, say
from planner.counted_words import counted

if TYPE_CHECKING:
    from planner.approvals import SignOff
    from planner.fleet import Fleet
    from planner.plan import Plan
    from planner.verify import ProofCheck, Violation
    from planner.verify.certificate import CertificateCheck


@click.command()
@FLEET
@click.argument("plan", type=click.Path(path_type=Path), required=False)
@json_file("VERIFY", "the violations")
@click.option("--proof", "with_proof", is_flag=True, help="Prove the plan's lower bound again, from FLEET alone.")
@click.option(
    "--certificate",
    type=click.Path(path_type=Path),
    metavar="PLAN.vipr",
    help="Check this certificate too: each line, and that it is about FLEET (and PLAN, if given).",
)
@click.option(
    "--approval",
    type=click.Path(path_type=Path),
    metavar="PLAN.xlsx",
    help="Read the approvals from the sheet Approval of this workbook. Default: PLAN, where it is a workbook.",
)
@PROGRESS
@QUIET
def verify(
    fleet: Path,
    plan: Path | None,
    json_path: Path | None,
    with_proof: bool,
    certificate: Path | None,
    approval: Path | None,
    quiet: bool,
) -> int:
    """Check PLAN (a plan workbook or plan.json, also edited by hand) against FLEET.

    The check shares no code with the planning. Ends with 1 when the plan does not hold, and prints
    every violation.

    With --proof each group of sites in the proof is counted again, and the bound is added up in exact
    fractions. A proof that does not hold ends with 1. If the bound holds but does not
    prove the plan best, verify says so.

    With --certificate no PLAN is needed; a certificate that does not hold ends with 1.

    If the sheet Approval is filled in, the hash shows whether this is the plan that was approved. If it
    is not, verify ends with 1.

    \b
    Example:
        castingvote verify fleet.xlsx plan.json --proof
    """
    from planner.outputs.noun_json import noun_to_json
    from planner.verify import verify as check_plan

    if plan is None and (with_proof or certificate is None):
        raise click.UsageError("Name a PLAN to check, or a certificate with --certificate.")
    check_outputs(fleet, json_path, plan=plan)
    inventory, made = (read_inventory(fleet), None) if plan is None else fleet_and_plan(fleet, plan)
    checks = Checks(() if made is None else check_plan(inventory, made))
    if made is not None and with_proof:
        from planner.verify import verify_proof

        checks.proof = verify_proof(inventory, made)
    if made is not None and plan is not None:
        checks.sign_off = _sign_off(made, plan, approval)
    if certificate is not None:
        checks.certificate = _certificate(inventory, certificate, made)
    with put_in_place():
        hand_over(lambda: noun_to_json(checks.as_data()), json_path)
    if (checks.failed or not quiet) and not is_stdout(json_path):
        _print(checks, plan)
    return 1 if checks.failed else 0


@dataclass
class Checks:
    """What was found: violations of the plan, and what became of its proof and of the certificate, where asked for."""

    found: Sequence[Violation]
    proof: ProofCheck | None = None
    certificate: CertificateCheck | None = None
    sign_off: SignOff | None = None

    @property
    def violations(self) -> list[Violation]:
        """What the plan breaks, notes left out."""
        return [violation for violation in self.found if violation.severity == "violation"]

    @property
    def failed(self) -> bool:
        """Whether the plan, its proof or the certificate does not hold."""
        broken = any(check is not None and check.verdict == "broken" for check in (self.proof, self.certificate))
        signed = self.sign_off is None or not self.sign_off.broken
        return broken or bool(self.violations) or not signed

    def as_data(self) -> dict[str, object]:
        """Return the violations, with the verdicts beside them where those were asked for."""
        both = {"proof": self.proof, "certificate": self.certificate, "sign_off": self.sign_off}
        return {"violations": self.found, **{name: check for name, check in both.items() if check is not None}}


def _sign_off(made: Plan, plan: Path, approval: Path | None) -> SignOff | None:
    """Return what the approvals of a plan come to; None where no workbook with approvals is there to ask."""
    from zipfile import is_zipfile

    from planner.approvals import sign_off
    from planner.outputs.approval_sheet import read_approvals

    if approval is None and (str(plan) == "-" or not is_zipfile(plan)):
        return None
    found = read_approvals(approval or plan)
    return sign_off(made, found) if found or approval is not None else None


def _certificate(fleet: Fleet, path: Path, plan: Plan | None) -> CertificateCheck:
    """Check the certificate in a file; InputError where that cannot be read as text."""
    from planner.errors import InputError
    from planner.fleet import Finding
    from planner.verify.certificate import verify_certificate

    try:
        with path.open(encoding="ascii") as lines:
            return verify_certificate(fleet, lines, plan)
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror or str(error) if isinstance(error, OSError) else "it is no text in ASCII"
        hint = "Name a certificate that castingvote wrote."
        raise InputError((Finding("error", "cannot_read", "", f"cannot be read: {why}.", hint, str(path)),)) from error


def _print(checks: Checks, plan: Path | None) -> None:
    from planner.cli.report import print_violations

    print_violations([*checks.found, *(checks.proof.violations if checks.proof else ())])
    if plan is not None:
        number = len(checks.violations)
        say(f"{counted(number, 'violation')}." if number else "The plan holds.")
    for check in (checks.proof, checks.certificate):
        if check is not None:
            say(printable(check.words))
    for words in checks.sign_off.words if checks.sign_off is not None else ():
        say(printable(words))
