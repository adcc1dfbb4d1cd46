"""The part of `castingvote export` that makes one folder for an auditor."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from zipfile import is_zipfile

from planner.approvals import sign_off
from planner.certificate import Certified
from planner.cli.certify import certify
from planner.cli.options import given_mapping, given_statuses
from planner.cli.progress import Stages
from planner.cli.verify import Checks
from planner.errors import InputError
from planner.evidence import Evidence, write_evidence
from planner.fleet import Fleet
from planner.identity import identity_of
from planner.outputs.approval_sheet import read_approvals
from planner.outputs.noun_json import noun_to_json
from planner.outputs.read_returned import read_copies
from planner.plan import Plan
from planner.progress import Copy, Merged
from planner.tracking import merged, of_other_plans, resolved, track
from planner.verify import verify, verify_proof
from planner.verify.certificate import verify_certificate


@dataclass(frozen=True)
class Folder:
    """What was asked for: the files of fleet and plan, the workbooks with approvals and results, and the folder."""

    fleet: Path
    plan: Path
    approval: Path | None
    results: tuple[Path, ...]
    folder: Path


def hand_to_auditor(asked: Folder, fleet: Fleet, plan: Plan, stages: Stages) -> tuple[list[Path], bool]:
    """Write the folder; return its files, and whether the plan holds and is that of approvals and results."""
    certified, why = _certified(fleet, plan, stages)
    text = "" if certified is None else "".join(certified.text())
    book = asked.approval or (asked.plan if is_zipfile(asked.plan) else None)
    approvals = () if book is None else read_approvals(book)
    checks = Checks(verify(fleet, plan), verify_proof(fleet, plan), sign_off=sign_off(plan, approvals))
    if text:
        checks.certificate = verify_certificate(fleet, text.splitlines(keepends=True), plan)
    copies = read_copies(asked.results, given_statuses())
    found = merged(resolved(copies, fleet, plan)) if copies else None
    others = _of_other_plans(asked, plan, copies)
    evidence = Evidence(
        fleet=_files_of(asked.fleet),
        plan_file=asked.plan,
        plan=plan,
        checks_json=noun_to_json(checks.as_data()),
        checks=(*_words(checks), *others, *_problems(fleet, plan, found)),
        certificate=text,
        why_none=why,
        approvals=approvals,
        approval_file=asked.approval,
        returned=asked.results,
        merged=found,
    )
    return write_evidence(evidence, asked.folder), not (checks.failed or others)


def _certified(fleet: Fleet, plan: Plan, stages: Stages) -> tuple[Certified | None, str]:
    try:
        return certify(stages, fleet, plan, None), ""
    except InputError as error:
        return None, f"none, because {error.findings[0]}"


def _of_other_plans(asked: Folder, plan: Plan, copies: tuple[Copy, ...]) -> tuple[str, ...]:
    """Return a sentence for each copy of another plan; a plan workbook that people changed is still the one it says."""
    if is_zipfile(asked.plan):
        return of_other_plans((*read_copies([asked.plan]), *copies))
    return of_other_plans(copies, (asked.plan.name, identity_of(plan)))


def _problems(fleet: Fleet, plan: Plan, found: Merged | None) -> tuple[str, ...]:
    """Return what fails in the results."""
    import datetime as dt

    return () if found is None else track(fleet, plan, found, dt.date.today()).problems


def _words(checks: Checks) -> tuple[str, ...]:
    number = len(checks.violations)
    proof = checks.proof.words if checks.proof is not None else ""
    certificate = checks.certificate.words if checks.certificate is not None else ""
    signed = checks.sign_off.words if checks.sign_off is not None else ()
    first = f"Violations: {number}." if number else "The plan holds."
    return (first, *map(str, checks.found), proof, certificate, *signed)


def _files_of(fleet: Path) -> tuple[Path, ...]:
    """Return the files that a fleet was read from, and the mapping."""
    mapping = given_mapping()
    own = sorted(path for path in fleet.iterdir() if path.is_file()) if fleet.is_dir() else [fleet]
    return (*own, *([mapping] if mapping is not None else []))
