"""What surviving a loss costs: the same fleet planned for every kind of cover."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, get_args

from planner.fleet import Fleet
from planner.plan import Cover, CoverPrice, Plan, moved_sites
from planner.sizing import plan as make_plan


def cover_prices(
    fleet: Fleet, made: Plan | None = None, *, tell: Callable[[str], None] | None = None, **options: Any
) -> tuple[CoverPrice, ...]:
    """Return what no cover, and cover of a host, a hub and a zone, take, in this order.

    A larger loss leaves more sites without a standby, and may so take fewer hosts. To compare like with like, where
    the kinds do not cover the same sites, those that all of them cover are planned alone for each kind too.

    ``made`` is a plan of ``fleet`` as it is, which then is not made again; ``options`` are those of `planner.plan`;
    ``tell`` hears which kind is being planned. Raises what `planner.plan` raises.
    """
    tell = tell or _silent
    plans = {}
    for cover in get_args(Cover):
        tell(cover)
        at_hand = made is not None and cover == fleet.policy.cover
        plans[cover] = made if made is not None and at_hand else make_plan(_covered(fleet, cover), **options)
    served = {cover: {row.site for row in one.assignments} for cover, one in plans.items()}
    covered = {cover: {row.site for row in one.assignments if row.standby} for cover, one in plans.items()}
    alike = set.intersection(*(served[cover] if cover == "none" else covered[cover] for cover in plans))
    same = plans
    if any(sites != alike for sites in served.values()) and alike:
        alone = fleet.replace(sites=fleet.sites[fleet.sites["site"].isin(alike)].reset_index(drop=True))
        same = {}
        for cover in plans:
            tell(f"{cover}, only for the sites that every kind of cover protects")
            same[cover] = make_plan(_covered(alone, cover), **options)
    return tuple(
        CoverPrice(
            cover=cover,
            hosts=one.hosts,
            objective_value=one.objective_value,
            lower_bound=one.lower_bound,
            served=len(served[cover]),
            covered=len(covered[cover]),
            alike=len(alike),
            alike_value=same[cover].objective_value,
            alike_bound=same[cover].lower_bound,
            moves=None if fleet.current.empty else len(moved_sites(fleet, one)),
            moves_proven=one.proves("moves"),
        )
        for cover, one in plans.items()
    )


def _covered(fleet: Fleet, cover: Cover) -> Fleet:
    return fleet.replace(policy=fleet.policy.replace(cover=cover))


def _silent(_words: str) -> None:
    """Take words and do nothing."""
