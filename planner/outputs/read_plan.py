"""A plan file, whatever its kind -> Plan."""

from __future__ import annotations

import os
from pathlib import Path

from planner.errors import InputError
from planner.fleet import Finding
from planner.outputs.read_json import plan_from_json
from planner.outputs.read_workbook import plan_from_workbook
from planner.plan import Plan

# How files of the two kinds of container that hold workbooks begin: zip archives, and the older binary one,
# in which workbooks with a password come too. The kind is told by content, because names can be wrong.
_WORKBOOK_STARTS = (b"PK", b"\xd0\xcf\x11\xe0")


def read_plan(path: str | os.PathLike[str]) -> Plan:
    """Return the plan in a plan.json or in a plan workbook, which may have been edited by hand.

    A workbook gives back what plan.json gives back, and what people changed on its sheets; a finding then says how many
    rows differ. One without its hidden record gives claims, hosts, assignments, standbys, unserved sites and sites
    without need, with the 15 digits that spreadsheets keep; the rest stays blank. Whether the plan makes sense (hosts
    overfilled, sites unknown) is not looked at: `planner.verify` does that.

    Raises InputError with one finding for each missing sheet, column or key and each cell that is
    blank or cannot be read.
    """
    path = Path(path)
    try:
        content = b"" if path.is_dir() else path.read_bytes()
    except OSError as error:
        message = f"cannot be read: {error.strerror or error}."
        raise InputError((Finding("error", "file_unreadable", "", message, "Check the path.", path.name),)) from error
    if path.is_dir() or content.startswith(_WORKBOOK_STARTS):
        plan, findings = plan_from_workbook(path)
    else:
        plan, findings = plan_from_json(content, path.name)
    if plan is None or findings:
        raise InputError(tuple(findings))
    return plan
