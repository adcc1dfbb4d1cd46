"""Why not fewer: the sets of sites of the plan's proof, each in a sentence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planner.counted_words import counted
from planner.explain.explanation import BindingSet
from planner.explain.wording import some, spelled
from planner.plan import Plan


def binding_sets(plan: Plan, all_pools: int) -> tuple[BindingSet, ...]:
    """Return the sets that force the plan's bound, the one that forces most first; none where there is no such proof.

    ``all_pools`` is how many pools the fleet has.
    """
    return tuple(_binding_set(data, all_pools) for data in plan.proof.details.get("sets", ()))


def _binding_set(data: Mapping[str, Any], all_pools: int) -> BindingSet:
    sites, pools = tuple(data["sites"]), tuple(data["pools"])
    return BindingSet(sites, pools, data["demand"], data["needs"], _in_words(data, sites, pools, all_pools))


def _in_words(data: Mapping[str, Any], sites: tuple[str, ...], pools: tuple[str, ...], all_pools: int) -> str:
    if data["at_least"] == 1:
        what = f"{counted(data['demand'], 'cluster')} at {counted(len(sites), 'site')} ({some(sites)})"
    else:
        size = data["at_least"]
        what = f"{counted(data['demand'], 'site')} of {size} or more clusters that stay together ({some(sites)})"
    verb = "reaches" if data["demand"] == 1 else "reach"
    where = f"only pool {pools[0]}" if len(pools) == 1 else f"only the {len(pools)} pools {some(pools)}"
    if len(pools) == all_pools:
        verb, where = "have", f"all {counted(len(pools), 'pool')} to go to"
    largest = max(data["pools"].values(), default=0)
    if data["divisor"] == 1 and largest > 1:
        return f"{what} {verb} {where}, whose hosts must have room for them all."
    return f"{what} {verb} {where}; at most {largest} on a host, so {spelled(data['needs'], 'host')}."
