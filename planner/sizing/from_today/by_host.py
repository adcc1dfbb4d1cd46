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
        pool = fleet.pool_ids[p]
        in_use = running.hosts.get(pool, ())
        staying = [name for name in in_use if name not in fleet.retiring_hosts]
        cut |= 0 < most < len(staying)
        names = staying[:most]
        for name in names:
            split = f"0 {next(number):06d} {name}"
            host_of[split] = name
            pool_of[split] = pool
            rows.append({**row, "pool": split, "max_hosts": 1.0, "existing_hosts": 1.0})
            rows[-1] |= {"host_names": (name,), "retiring_hosts": ()}
        rest = f"1 {pool}"
        pool_of[rest] = pool
        # Hosts to be emptied keep their names and their places, which the fleet's properties take off again.
        gone = int(fleet.retiring_of_pool[p])
        row["max_hosts"] = float(most - len(names) + gone)
        others = max(0, existing - len(names))
        row["existing_hosts"] = float(others + gone)
        row["host_names"] = ()
        rows.append({**row, "pool": rest})
    types = fleet.pools.dtypes.to_dict()
    pools = pd.DataFrame(rows, columns=fleet.pools.columns).astype(types)
    part_of = {host: split for split, host in host_of.items()}
    current = fleet.current
    table = zip(current["hub"], current["host"], current["pool"], strict=True)
    rest_of = {key: f"1 {pool}" for key, pool in running.pool.items()}
    stated = [part_of.get(host) or rest_of.get((hub, host), pool) for hub, host, pool in table]
    column = pd.Series(stated, index=fleet.current.index, dtype=object)
    current = fleet.current.assign(pool=column)
    split_fleet = fleet.replace(pools=pools, current=current, true_pools=pool_of)
    return ByHost(fleet, split_fleet, host_of, pool_of, cut)


def folded(split: ByHost, plan: Plan) -> Plan:
    """Return a plan of the split fleet with the true pools.

    Hosts that exist in the split fleet do so here, but for those that Current names beyond what a pool has. A host
    without a name there is not one of those that Current names, even if the plan does not use them.
    """
    fleet = split.original
    position = {pool: p for p, pool in enumerate(fleet.pool_ids)}
    left = dict(zip(fleet.pool_ids, fleet.existing_hosts.tolist(), strict=True))
    hosts: list[Host] = []
    for host in sorted(plan.host_list, key=lambda h: (h.pool not in split.host, h.host)):
        pool = split.pool[host.pool]
        existing = host.existing and left[pool] > 0
        left[pool] -= existing
        p = position[pool]
        cap = int(fleet.cluster_caps[p])
        usable = int(fleet.usable_caps[p])
        hosts.append(dataclasses.replace(host, pool=pool, cap=cap, usable=usable, existing=existing))
    hosts.sort(key=lambda host: (host.pool, host.host))
    return plan.replace(host_list=tuple(hosts))
