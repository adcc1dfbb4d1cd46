"""A fleet in which some hosts or hubs are to be emptied."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.plan import Plan
from planner.running import running_hosts


def drained(fleet: Fleet, names: Iterable[str]) -> Fleet:
    """Return ``fleet`` without room at the hosts and hubs ``names``: who is there has to go elsewhere.

    A host goes to ``retiring_hosts`` of its pool, where it keeps its place in ``max_hosts`` until it is gone; the pools
    of a hub get ``max_hosts`` 0. A name that is both means the hub. Raises InputError with a finding for each name
    that is neither a hub nor a host of Current.
    """
    wanted = list(dict.fromkeys(names))
    hubs = [name for name in wanted if name in fleet.hub_ids]
    known = running_hosts(fleet).pool
    pool_of = {host: pool for (_, host), pool in known.items()}
    hosts = [name for name in wanted if name not in fleet.hub_ids and name in pool_of]
    unknown = [name for name in wanted if name not in (*hubs, *hosts)]
    if unknown:
        hint = "Name a hub of the sheet Hubs, or a host as the sheet Current writes it."
        words = [f'"{name}" is neither a hub nor a host in use.' for name in unknown]
        raise InputError(tuple(Finding("error", "drain_unknown", "", said, hint) for said in words))
    pools = fleet.pools.copy()
    pools.loc[pools["hub"].isin(hubs), "max_hosts"] = 0.0
    retiring = [tuple(names) for names in pools["retiring_hosts"]]
    for host in hosts:
        pool = fleet.pool_ids.index(pool_of[host])
        retiring[pool] = tuple(dict.fromkeys((*retiring[pool], host)))
    pools["retiring_hosts"] = pd.Series(retiring, index=pools.index, dtype=object)
    words = [f"{name} is emptied, as asked: it serves no site in the plan." for name in wanted]
    emptied = [Finding("info", "drained", "", said) for said in words]
    in_all = tuple(dict.fromkeys((*fleet.emptied, *wanted)))
    return fleet.replace(pools=pools, findings=(*fleet.findings, *emptied), emptied=in_all)


def as_planned(fleet: Fleet, plan: Plan) -> Fleet:
    """Return ``fleet`` without room at what ``plan`` was asked to empty, as far as it is still there."""
    there = {*fleet.hub_ids, *(host for _, host in running_hosts(fleet).pool)} if plan.emptied else set()
    names = [name for name in plan.emptied if name in there and name not in fleet.emptied]
    return drained(fleet, names) if names else fleet
