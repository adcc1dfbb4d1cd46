"""Hosts that run today and that nobody names: the planner's names for them, as its outputs show them."""

from __future__ import annotations

import numpy as np

from planner.fleet import Fleet
from planner.running import running_hosts
from planner.today import read_today


def unnamed_hosts(fleet: Fleet) -> dict[str, tuple[str, str]]:
    """Return hub and pool of each host that Hubs counts and neither it nor Current names, by the planner's name."""
    at = np.array(sorted(range(len(fleet.pool_ids)), key=lambda pool: fleet.pool_ids[pool]), dtype=np.int64)
    today = read_today(fleet, at, fit=fleet.max_hosts[at], most=fleet.existing_hosts[at])
    named = {host for _, host in running_hosts(fleet).pool}
    return {
        name: (fleet.pools["hub"].iloc[pool], fleet.pool_ids[pool])
        for pool, names in zip(at.tolist(), today.names, strict=True)
        for name in names
        if name not in named
    }
