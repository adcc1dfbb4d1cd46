"""How many hosts of a pool run today where Hubs leaves that blank: as many as the sheet Current speaks for."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Fleet, Ints
from planner.running import running_hosts


@dataclass(frozen=True)
class Standing:
    """For each pool, shape (P,): the hosts that Current ``named``, and how many run in all (``hosts``).

    ``blank`` marks the pools that Current speaks for and whose ``existing_hosts`` is blank.
    """

    named: Ints
    hosts: Ints
    blank: Bools


def standing_hosts(fleet: Fleet) -> Standing:
    """Return how many hosts run in each pool, as far as Current tells.

    They are those that it names, and as many more as the sites need whose host it does not name: these fill the room
    of the named hosts and then further ones up to the cluster cap, the largest site first. A site that several pools
    at its hub fit counts in the first of them.
    """
    running = running_hosts(fleet)
    size = dict(zip(fleet.site_ids, fleet.clusters.tolist(), strict=True))
    rows = Counter(fleet.current["site"])
    size = {site: min(clusters, 1) if rows[site] > 1 else clusters for site, clusters in size.items()}
    load: dict[str, dict[str, int]] = defaultdict(dict)
    for site, hub, host in zip(fleet.current["site"], fleet.current["hub"], fleet.current["host"], strict=True):
        if host and (hub, host) in running.pool:
            on = load[running.pool[hub, host]]
            on[host] = on.get(host, 0) + size.get(site, 0)
    unnamed: dict[str, list[int]] = defaultdict(list)
    for (site, _), pools in running.may_be.items():
        unnamed[pools[0]].append(size[site])
    caps = dict(zip(fleet.pool_ids, fleet.cluster_caps.tolist(), strict=True))
    named = np.array([len(load[pool]) for pool in fleet.pool_ids], dtype=np.int64)
    total = [_filled(list(load[pool].values()), unnamed[pool], caps[pool]) for pool in fleet.pool_ids]
    blank = fleet.pools["existing_hosts"].isna().to_numpy(dtype=np.bool_)
    hosts = np.array(total, dtype=np.int64)
    return Standing(named, hosts, blank & (hosts > 0))


def _filled(loads: list[int], sizes: list[int], cap: int) -> int:
    """Return how many hosts carry ``loads`` and sites of ``sizes``, each put on the first host with room."""
    for size in sorted(sizes, reverse=True):
        at = next((h for h, load in enumerate(loads) if load + size <= cap), len(loads))
        if at == len(loads):
            loads.append(0)
        loads[at] += size
    return len(loads)


def with_standing_hosts(fleet: Fleet) -> Fleet:
    """Return ``fleet`` with what Current tells in the cells of ``existing_hosts`` that are blank."""
    told = standing_hosts(fleet)
    if not told.blank.any():
        return fleet
    counts = fleet.pools["existing_hosts"].mask(told.blank, told.hosts.astype(np.float64))
    assumed = frozenset(pool for pool, blank in zip(fleet.pool_ids, told.blank, strict=True) if blank)
    return fleet.replace(pools=fleet.pools.assign(existing_hosts=counts), assumed_hosts=assumed)


@dataclass(frozen=True, slots=True)
class Assumed:
    """A count of hosts that nobody typed: ``hosts`` of a ``pool``, ``named`` of which Current or Hubs name.

    ``again``: Current fills in the same count where the cell is left blank.
    """

    pool: str
    hosts: int
    named: int
    again: bool


def assumed_hosts(fleet: Fleet) -> list[Assumed]:
    """Return the counts in ``existing_hosts`` of ``fleet`` that were assumed, and whether they would be so again."""
    marks = np.array([pool in fleet.assumed_hosts for pool in fleet.pool_ids], dtype=np.bool_)
    if not marks.any():
        return []
    counts = fleet.pools["existing_hosts"]
    told = standing_hosts(fleet.replace(pools=fleet.pools.assign(existing_hosts=counts.mask(marks))))
    listed = [len(set(names)) for names in fleet.pools["host_names"]]
    return [
        Assumed(pool, int(count), max(int(named), names), bool(count == hosts))
        for pool, mark, count, hosts, named, names in zip(
            fleet.pool_ids, marks, counts, told.hosts, told.named, listed, strict=True
        )
        if mark and count == count
    ]
