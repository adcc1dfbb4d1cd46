"""The plan among the workbooks that came back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from planner.differences.sources import holds_a_plan
from planner.errors import InputError
from planner.fleet import Finding
from planner.outputs import read_plan
from planner.plan import Plan


def plan_among(returned: Sequence[Path]) -> Plan:
    """Return the plan that the first of the workbooks ``returned`` with one holds.

    Raises InputError where none holds a plan, and what `planner.outputs.read_plan` raises.
    """
    try:
        return read_plan(next(filter(holds_a_plan, returned), returned[0]))
    except InputError as error:
        if any(finding.code != "sheet_missing" for finding in error.findings):
            raise
        message = "It says what is done, but not what was planned."
        hint = (
            "Give --progress PLAN.xlsx first, with the plan workbook; or merge the copies with castingvote progress, "
            "and give the merged workbook."
        )
        raise InputError((Finding("error", "progress_without_plan", "", message, hint, returned[0].name),)) from error
