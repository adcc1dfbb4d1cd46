"""The number of a plan: one more than that of the plan which it follows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from planner.plan import Plan

AFTER = click.option(
    "--after",
    type=click.Path(path_type=Path),
    metavar="OLD",
    help="The previous plan; the new plan gets the next number. Default: the plan of this fleet that is replaced.",
)


def plan_before(after: Path | None, *outputs: Path | None) -> Plan | None:
    """Return the plan that a new one follows; InputError where ``after`` is no plan.

    Without ``after`` it is a plan that stands where one of ``outputs`` is to be written, if there is one.
    """
    from planner.errors import InputError
    from planner.outputs import read_plan

    if after is not None:
        return read_plan(after)
    for path in outputs:
        if path is not None and path.is_file():
            try:
                return read_plan(path)
            except InputError:  # some other file of that name
                continue
    return None
