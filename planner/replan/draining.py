"""A fleet in which some hosts or hubs are to be emptied."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from planner.errors import InputError
from planner.fleet import Finding, Fleet
from planner.rules import Checker
from planner.sizing.problem import build_problem
from planner.sizing.today import read_today


def drained(fleet: Fleet, names: Iterable[str]) -> Fleet:
    """Return ``fleet`` without room at the hosts and hubs ``names``: who is there has to go elsewhere.

    A host goes to ``retiring_hosts`` of its pool, where it keeps its place in ``max_hosts`` until it is gone; the pools
    of a hub get ``max_hosts`` 0. A name that is both means the hub. Raises InputError with a finding for each name
    that is neither a hub nor a host of Current.
    """
    wanted = list(dict.fromkeys(names))
    hubs = [name for name in wanted if name in fleet.hub_ids]
    at_hub = dict(zip(fleet.current["host"], fleet.current["hub"], strict=True))
    hosts = [name for name in wanted if name not in fleet.hub_ids and name in at_hub and name]
    unknown = [name for name in wanted if name not in (*hubs, *hosts)]
    if unknown:
        hint = "Name a hub of the sheet Hubs, or a host as the sheet Current writes it."
        raise InputError(
            tuple(
                Finding("error", "drain_unknown", "", f'"{name}" is neither a hub nor a host in use.', hint)
                for name in unknown
            )
        )
    pools = fleet.pools.copy()
    pools["max_hosts"] = pools["max_hosts"].mask(pools["hub"].isin(hubs), 0.0)
    retiring = [tuple(names) for names in pools["retiring_hosts"]]
    for host in hosts:
        pool = _pool_of(fleet, host, at_hub[host])
        retiring[pool] = tuple(dict.fromkeys((*retiring[pool], host)))
    pools["retiring_hosts"] = pd.Series(retiring, index=pools.index, dtype=object)
    return fleet.replace(pools=pools)


def _pool_of(fleet: Fleet, host: str, hub: str) -> int:
    """Return the position of the pool that a host of Current belongs to; at a hub of several, as plans name them."""
    at_hub = [p for p, other in enumerate(fleet.pools["hub"]) if other == hub]
    if len(at_hub) == 1:
        return at_hub[0]
    problem = build_problem(fleet, Checker(fleet))
    names = read_today(fleet, problem).names
    return next((int(problem.pool_at[p]) for p, known in enumerate(names) if host in known), at_hub[-1])
