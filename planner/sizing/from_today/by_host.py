"""A fleet in which each host in use is a pool of its own, so that a change of host within a pool counts as a move."""

from __future__ import annotations

import dataclasses
import itertools
from dataclasses import dataclass

import pandas as pd

from planner.fleet import Fleet
from planner.plan import Host, Plan
from planner.running import running_hosts


@dataclass(frozen=True)
class ByHost:
    """The split ``fleet``; ``host`` names the host that a split pool is, ``pool`` the true pool of every pool.

    ``cut``: some pool has more hosts of today than fit, and only the first of them are in the split fleet. Bounds of
    its plans then hold for no others.
    """

    original: Fleet
    fleet: Fleet
    host: dict[str, str]
    pool: dict[str, str]
    cut: bool = False

    @property
    def split_pools(self) -> dict[str, str]:
        """Split pool of each host in use."""
        return {host: pool for pool, host in self.host.items()}


def by_host(fleet: Fleet) -> ByHost:
    """Return ``fleet`` with a pool of one host for each host that Current names, and the rest of each pool beside them.

    Every plan of the one is a plan of the other with as many hosts. Hosts that are to be emptied, or that Current
    names beyond what a pool can hold, are in neither. Pools are named so that in order of their ids each split pool
    comes to the name of its host, see `instance.incumbent`.
    """
    rows, host_of, pool_of, cut = [], {}, {}, False
    running = running_hosts(fleet)
    number = itertools.count(1)
    for p in sorted(range(len(fleet.pool_ids)), key=lambda p: fleet.pool_ids[p]):
        row = fleet.pools.iloc[p].to_dict()
        most = int(fleet.max_hosts[p])
        existing = int(fleet.existing_hosts[p])
        names = [name for name in running.hosts.get(fleet.pool_ids[p], ()) if name not in fleet.retiring_hosts]
        cut |= 0 < most < len(names)
        names = names[:most]
        for name in names:
            split = f"0 {next(number):06d} {name}"
            host_of[split] = name
            pool_of[split] = fleet.pool_ids[p]
            rows.append({**row, "pool": split, "max_hosts": 1.0, "existing_hosts": 1.0})
            rows[-1] |= {"host_names": (name,), "retiring_hosts": ()}
        rest = f"1 {fleet.pool_ids[p]}"
        pool_of[rest] = fleet.pool_ids[p]
        # Hosts to be emptied keep their names and their places, which the fleet's properties take off again.
        gone = int(fleet.retiring_of_pool[p])
        row["max_hosts"] = float(most - len(names) + gone)
        row["existing_hosts"] = float(max(0, existing - len(names)) + gone)
        row["host_names"] = ()
        rows.append({**row, "pool": rest})
    pools = pd.DataFrame(rows, columns=fleet.pools.columns).astype(fleet.pools.dtypes.to_dict())
    part_of = {host: split for split, host in host_of.items()}
    table = zip(fleet.current["hub"], fleet.current["host"], fleet.current["pool"], strict=True)
    rest_of = {key: f"1 {pool}" for key, pool in running.pool.items()}
    stated = [part_of.get(host) or rest_of.get((hub, host), pool) for hub, host, pool in table]
    current = fleet.current.assign(pool=pd.Series(stated, index=fleet.current.index, dtype=object))
    return ByHost(fleet, fleet.replace(pools=pools, current=current, true_pools=pool_of), host_of, pool_of, cut)


def folded(split: ByHost, plan: Plan) -> Plan:
    """Return a plan of the split fleet with the true pools.

    Hosts that exist in the split fleet do so here, but for those that Current names beyond what a pool has. A host
    without a name there is not one of those that Current names, even if the plan does not use them.
    """
    fleet = split.original
    caps = dict(zip(fleet.pool_ids, zip(fleet.cluster_caps, fleet.usable_caps, strict=True), strict=True))
    left = dict(zip(fleet.pool_ids, fleet.existing_hosts.tolist(), strict=True))
    hosts: list[Host] = []
    for host in sorted(plan.host_list, key=lambda h: (h.pool not in split.host, h.host)):
        pool = split.pool[host.pool]
        existing = host.existing and left[pool] > 0
        left[pool] -= existing
        cap, usable = caps[pool]
        hosts.append(dataclasses.replace(host, pool=pool, cap=int(cap), usable=int(usable), existing=existing))
    return plan.replace(host_list=tuple(sorted(hosts, key=lambda h: (h.pool, h.host))))
