"""Fleets with hosts today: 300 sites of 1 to 4 clusters, kept together, 10 hubs of up to 4 hosts, 3 of them named."""

from __future__ import annotations

import numpy as np

from planner.fleet import Fleet
from planner.sizing import drained
from tests.arrays import fleet_of

_MOST, _NAMED = 4, 3


def moving(seed: int, *, cap: int = 40, drain: str = "", sites: int = 300, hubs: int = 10, **policy: str) -> Fleet:
    """Return a fleet whose sites are spread at random over the named hosts that they reach, as far as there is room.

    RTT U(5, 110) ms, budget 50 ms, two hubs at least in reach; ``drain`` names hubs or hosts to be emptied.
    """
    rng = np.random.Generator(np.random.PCG64(seed))
    rtt = np.round(rng.uniform(5, 110, (sites, hubs)), 1)
    near = rng.integers(0, hubs, sites)
    for at in (near, (near + rng.integers(1, hubs, sites)) % hubs):
        rtt[np.arange(sites), at] = np.minimum(rtt[np.arange(sites), at], 30.0)
    clusters = rng.integers(1, 5, sites)
    free = np.full((hubs, _NAMED), cap)
    rows = []
    for s in range(sites):
        hub, host = np.nonzero((rtt[s] <= 50)[:, None] & (free >= clusters[s]))
        if len(hub):
            at = rng.integers(len(hub))
            free[hub[at], host[at]] -= clusters[s]
            rows.append((f"S{s:03d}", f"H{hub[at]}", f"H{hub[at]}-{host[at] + 1:02d}"))
    site, hub_name, host_name = zip(*rows, strict=True)
    pools = {"max_hosts": [float(_MOST)] * hubs, "existing_hosts": [float(_NAMED)] * hubs}
    fleet = fleet_of(
        rtt,
        sites={"clusters": clusters.astype(float)},
        pools=pools,
        current={"site": site, "hub": hub_name, "host": host_name},
        digits=3,
        cluster_cap=cap,
        **policy,
    )
    return drained(fleet, drain.split(",")) if drain else fleet
