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
    size = data["at_least"]
    if size == 1:
        what = f"{counted(len(sites), 'site')} with {counted(data['demand'], 'cluster')}"
        item = "of these clusters"
    else:
        what = f"{counted(data['demand'], 'site')} with {size} or more clusters each"
        item = "of these sites"
    where = f"only pool {pools[0]}" if len(pools) == 1 else f"only the {len(pools)} pools {some(pools)}"
    if len(pools) == all_pools:
        where = f"any of the {counted(len(pools), 'pool')}"
    who = f"{what} ({some(sites)}) can use {where}"
    largest = max(data["pools"].values(), default=0)
    if data.get("lost"):
        also = f", also one of {data['lost_pool']}" if data.get("lost_pool") else ""
        who += f". When any one host is lost{also}, the others must have room for all of them"
        if data["divisor"] == 1 and largest > 1:
            return f"{who}."
    if data["divisor"] == 1 and largest > 1:
        return f"{who}, whose hosts must have room for all of them."
    return f"{who}: a host holds at most {largest} {item}, so they need {spelled(data['needs'], 'host')}."
