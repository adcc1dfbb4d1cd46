"""What surviving a loss costs: the same fleet planned for every kind of cover."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, get_args

from planner.fleet import Fleet
from planner.plan import Cover, CoverPrice, Plan
from planner.sizing import plan as make_plan


def cover_prices(
    fleet: Fleet, made: Plan | None = None, *, tell: Callable[[str], None] | None = None, **options: Any
) -> tuple[CoverPrice, ...]:
    """Return what no cover, and cover of a host, a hub and a zone, take, in this order.

    ``made`` is a plan of ``fleet`` as it is, which then is not made again; ``options`` are those of `planner.plan`;
    ``tell`` hears which kind is being planned. Raises what `planner.plan` raises.
    """
    found = []
    for cover in get_args(Cover):
        if tell is not None:
            tell(cover)
        if made is not None and cover == fleet.policy.cover:
            result = made
        else:
            result = make_plan(fleet.replace(policy=fleet.policy.replace(cover=cover)), **options)
        sites = {row.site for row in result.assignments}
        found.append(
            CoverPrice(
                cover=cover,
                hosts=result.hosts,
                objective_value=result.objective_value,
                lower_bound=result.lower_bound,
                served=len(sites),
                covered=len({row.site for row in result.assignments if row.standby}),
            )
        )
    return tuple(found)
