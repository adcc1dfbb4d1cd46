"""A fleet in which each host in use is a pool of its own, so that a change of host within a pool counts as a move."""

from __future__ import annotations

import dataclasses
from collections import Counter
from dataclasses import dataclass

import pandas as pd

from planner.fleet import Fleet
from planner.plan import Host, Plan


@dataclass(frozen=True)
class ByHost:
    """The split ``fleet``; ``host`` names the host that a split pool is, ``pool`` the true pool of every pool."""

    original: Fleet
    fleet: Fleet
    host: dict[str, str]
    pool: dict[str, str]

    @property
    def split_pools(self) -> dict[str, str]:
        """Split pool of each host in use."""
        return {host: pool for pool, host in self.host.items()}


def by_host(fleet: Fleet) -> ByHost:
    """Return ``fleet`` with a pool of one host for each host that Current names, and the rest of each pool beside them.

    Every plan of the one is a plan of the other with as many hosts. Hosts that are to be emptied, or that Current
    names beyond what a pool can hold, are in neither. Pools are named so that in order of their ids each split pool
    comes to the name of its host, see `planner.sizing.today`.
    """
    rows, host_of, pool_of = [], {}, {}
    waiting = _in_use(fleet)
    # As in `planner.sizing.today`: names at a hub go to its pools in order of id, as many as each has existing hosts.
    order = sorted(range(len(fleet.pool_ids)), key=lambda p: fleet.pool_ids[p])
    last = {fleet.pools["hub"].iloc[p]: p for p in order}
    number: Counter[str] = Counter()
    for p in order:
        row = fleet.pools.iloc[p].to_dict()
        hub, most, existing = row["hub"], int(fleet.max_hosts[p]), int(fleet.existing_hosts[p])
        take = most if last[hub] == p else min(existing, most)
        names = waiting.get(hub, [])[:take]
        waiting[hub] = waiting.get(hub, [])[take:]
        for name in names:
            number[hub] += 1
            split = f"0 {number[hub]:06d} {name}"
            host_of[split], pool_of[split] = name, fleet.pool_ids[p]
            rows.append({**row, "pool": split, "max_hosts": 1.0, "existing_hosts": 1.0, "retiring_hosts": ()})
        rest = f"1 {fleet.pool_ids[p]}"
        pool_of[rest] = fleet.pool_ids[p]
        # Hosts to be emptied keep their names and their places, which the fleet's properties take off again.
        gone = int(fleet.retiring_of_pool[p])
        row["max_hosts"] = float(most - len(names) + gone)
        row["existing_hosts"] = float(max(0, existing - len(names)) + gone)
        rows.append({**row, "pool": rest})
    pools = pd.DataFrame(rows, columns=fleet.pools.columns).astype(fleet.pools.dtypes.to_dict())
    return ByHost(fleet, fleet.replace(pools=pools), host_of, pool_of)


def _in_use(fleet: Fleet) -> dict[str, list[str]]:
    names: dict[str, list[str]] = {}
    current = zip(fleet.current["host"], fleet.current["hub"], strict=True)
    for name, hub in sorted({(host, hub) for host, hub in current if host and host not in fleet.retiring_hosts}):
        names.setdefault(hub, []).append(name)
    return names


def folded(split: ByHost, plan: Plan) -> Plan:
    """Return a plan of the split fleet with the true pools; as many hosts are called existing as a pool has."""
    fleet = split.original
    caps = dict(zip(fleet.pool_ids, zip(fleet.cluster_caps, fleet.usable_caps, strict=True), strict=True))
    left = dict(zip(fleet.pool_ids, fleet.existing_hosts.tolist(), strict=True))
    hosts: list[Host] = []
    for host in sorted(plan.host_list, key=lambda h: (h.pool not in split.host, h.host)):
        pool = split.pool[host.pool]
        existing = left[pool] > 0
        left[pool] -= existing
        cap, usable = caps[pool]
        hosts.append(dataclasses.replace(host, pool=pool, cap=int(cap), usable=int(usable), existing=bool(existing)))
    return plan.replace(host_list=tuple(sorted(hosts, key=lambda h: (h.pool, h.host))))
