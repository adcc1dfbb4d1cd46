"""The number of a plan: one more than that of the plan which it follows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.streams import say

if TYPE_CHECKING:
    from planner.fleet import Fleet
    from planner.plan_parts import Identity

AFTER = click.option(
    "--after",
    type=click.Path(path_type=Path),
    metavar="OLD",
    help="The previous plan; the new plan gets the next number. Not needed where FLEET, --progress or the file that is "
    "replaced knows it.",
)


def of_known_number(fleet: Fleet, after: Path | None, *outputs: Path | None) -> tuple[Fleet, tuple[Identity, ...]]:
    """Return the fleet with its id, and the plans that a new one may follow.

    These are ``after``, a plan that stands where one of ``outputs`` is to be written, and the last plan that the
    fleet itself knows of. Without a setting ``fleet_id`` the fleet has the id of the plan ``after``. Raises
    InputError where ``after`` is no plan.
    """
    from planner.errors import InputError
    from planner.identity import fleet_id, identity_of, last_plan, of_one_fleet
    from planner.outputs import read_plan

    named = [] if after is None else [(after, identity_of(read_plan(after)))]
    for _, identity in named:
        fleet = of_one_fleet(fleet, identity)
    for path in outputs:
        if path is not None and path.is_file():
            try:
                named.append((path, identity_of(read_plan(path))))
            except InputError:  # some other file of that name
                continue
    found = [identity for identity in (last_plan(fleet),) if identity is not None]
    for path, identity in named:
        if identity.fleet_id in ("", fleet_id(fleet)):
            found.append(identity)
        else:
            say(
                f"note       {path} is plan {identity.number} of fleet {identity.fleet_id}, and this fleet is "
                f"{fleet_id(fleet)}: the number does not count on from it. --after OLD or the setting fleet_id mends "
                "that where both are one fleet.",
                err=True,
            )
    return fleet, tuple(found)
