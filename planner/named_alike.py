"""A fleet's hosts under the names that a plan gives them, where only letter case, dashes or blanks differ."""

from __future__ import annotations

from collections import defaultdict

import pandas as pd

from planner.fleet import Fleet
from planner.intake.host_names import HOST_LISTS, host_key
from planner.plan import Plan


def named_as_planned(fleet: Fleet, plan: Plan) -> tuple[Fleet, tuple[str, ...]]:
    """Return ``fleet`` with hosts called as ``plan`` calls them, and a note on each that was called otherwise.

    A host that the plan knows by the very name stays, and so does one where the fleet itself tells two apart.
    """
    planned: dict[tuple[str, str], list[str]] = defaultdict(list)
    for host in plan.host_list:
        planned[host.hub, host_key(host.host)].append(host.host)
    known = _named(fleet)
    names = {}
    for hub, name in sorted(known):
        alike = planned.get((hub, host_key(name)), [name])
        if len(alike) == 1 and alike[0] != name and (hub, alike[0]) not in known:
            names[hub, name] = alike[0]
    if not names:
        return fleet, ()
    current, pools = fleet.current, fleet.pools
    hosts = [names.get(row, row[1]) for row in zip(current["hub"], current["host"], strict=True)]
    lists = {
        column: pd.Series(
            [
                tuple(names.get((hub, name), name) for name in listed)
                for hub, listed in zip(pools["hub"], pools[column], strict=True)
            ],
            index=pools.index,
            dtype=object,
        )
        for column in HOST_LISTS
    }
    notes = tuple(
        f'host "{name}" of the fleet is taken for "{of_plan}" of the plan.' for (_, name), of_plan in names.items()
    )
    renamed = current.assign(host=pd.Series(hosts, index=current.index, dtype=object))
    return fleet.replace(current=renamed, pools=pools.assign(**lists)), notes


def _named(fleet: Fleet) -> set[tuple[str, str]]:
    """Return all hosts that the fleet names, with their hubs."""
    found = {(hub, host) for hub, host in zip(fleet.current["hub"], fleet.current["host"], strict=True) if host}
    for column in HOST_LISTS:
        for hub, listed in zip(fleet.pools["hub"], fleet.pools[column], strict=True):
            found |= {(hub, name) for name in listed}
    return found
