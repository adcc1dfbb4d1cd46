"""A file of a comparison -> a fleet, a plan, or a plan with its fleet; told by content, not by name."""

from __future__ import annotations

import hashlib
import zipfile
from pathlib import Path

import openpyxl

from planner.counted_words import first_few
from planner.differences.compare_plans import Given
from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.intake import read_fleet
from planner.outputs import headings
from planner.outputs.read_plan import read_plan
from planner.plan import Plan
from planner.sizing import as_planned

_PLAN_SHEETS = {headings.HOSTS, headings.ASSIGNMENTS}


def read_side(path: Path, fleet: Path | None, mapping: Path | None) -> tuple[Given, str]:
    """Return what the file ``path`` holds, and a note on where the fleet of a plan was found, "" for none.

    ``fleet`` is the fleet that a plan was made from. Where it is None, a file beside the plan that has the name and
    the SHA-256 that the plan states is taken. Raises InputError where a file cannot be read.
    """
    if not holds_a_plan(path):
        return _mapped(path, mapping)
    plan = read_plan(path)
    if fleet is not None:
        given, note = _mapped(fleet, mapping)
        return (as_planned(given, plan), plan), note
    beside = _beside(path, plan)
    if beside is None:
        changed = [name for source in plan.sources if (path.parent / (name := Path(source.name).name)).is_file()]
        where = (
            f"{first_few(changed)} changed after {path.name} was made"
            if changed
            else (f"The fleet of {path.name} is not in its folder")
        )
        return plan, f"{where}: causes come from the plan alone."
    found = _read(beside, mapping)
    if found is None:
        return plan, f"{beside} cannot be read without its mapping: causes come from the plan alone."
    return (as_planned(found, plan), plan), f"The fleet of {path.name} was found beside it: {beside}."


def _mapped(path: Path, mapping: Path | None) -> tuple[Fleet, str]:
    """Return a fleet read as ``mapping`` says, or by its own layout where the mapping is not about it; with a note."""
    try:
        return read_fleet(path, mapping), ""
    except InputError as error:
        if mapping is None or not any(finding.code == "mapping_sheet" for finding in error.findings):
            raise
        try:
            found = read_fleet(path)
        except InputError:
            message = f"The mapping {mapping.name} does not fit this file."
            hint = "Name a mapping that fits both fleets."
            raise InputError(
                (*error.findings, Finding("error", "mapping_unfit", "", message, hint, path.name))
            ) from error
        return found, f"{path.name} has no sheets that {mapping.name} names: it was read without the mapping."


def holds_a_plan(path: Path) -> bool:
    """Say whether a file is a plan, as workbook or JSON; where it cannot be read, its own reader says why."""
    if path.is_dir() or not path.is_file():
        return False
    try:
        if zipfile.is_zipfile(path):
            return set(_sheet_names(path)) >= _PLAN_SHEETS
        start = path.read_bytes()[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    except OSError:
        return False
    return start.startswith(b"{") and b'"format"' in start


def _sheet_names(path: Path) -> list[str]:
    try:
        book = openpyxl.load_workbook(path, read_only=True)
    except Exception:
        return []
    try:
        return list(book.sheetnames)
    finally:
        book.close()


def _beside(path: Path, plan: Plan) -> Path | None:
    """Return the file beside ``path`` that the plan was made from, told by its SHA-256."""
    for source in plan.sources:
        beside = path.parent / Path(source.name).name
        if beside.is_file() and hashlib.sha256(beside.read_bytes()).hexdigest() == source.sha256:
            return beside if len(plan.sources) == 1 else beside.parent
    return None


def _read(path: Path, mapping: Path | None) -> Fleet | None:
    try:
        return read_fleet(path, mapping)
    except InputError:
        return None
