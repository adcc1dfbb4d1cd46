"""How long a cluster of each design is expected to be down, where the fleet says how often its parts are."""

from __future__ import annotations

import numpy as np

from planner.fleet import Bools, Fleet, Floats
from planner.plan import Plan
from planner.resilience.uptime import availability
from planner.resilience.uptime.down_times import MINUTES_A_YEAR
from planner.resilience.uptime.figures import read_part
from planner.resilience.uptime.votes import at_least, cluster_down, either_down
from planner.rules import Checker


def minutes_of_three_nodes(fleet: Fleet, needs: Bools) -> float | None:
    """Return minutes a year that a cluster of three data nodes is down, on average; None where figures are missing."""
    node = read_part(fleet, "node").share
    return _mean(fleet, needs, at_least(2, (node, node, node)))


def minutes_of_dedicated(fleet: Fleet, needs: Bools, worth: Floats) -> float | None:
    """Return the same with a host for each cluster, at the eligible pool of least ``worth`` (pools,)."""
    pairs = Checker.of(fleet).eligible()
    order = np.lexsort((pairs.pool, worth[pairs.pool], pairs.site))
    sites, first = np.unique(pairs.site[order], return_index=True)
    pool = pairs.pool[order][first]
    hub = fleet.hub_of_pool[pool]
    parts = (("host", pool), ("hub", hub), ("hub_uplink", hub), ("site_uplink", sites))
    vote = np.full(len(needs), np.nan)
    vote[sites] = either_down(*(read_part(fleet, part).share[at] for part, at in parts))  # type: ignore[arg-type]
    served = needs & np.isin(np.arange(len(needs)), sites)
    return _mean(fleet, served, cluster_down(read_part(fleet, "node").share, vote))


def minutes_of_plan(fleet: Fleet, plan: Plan) -> float | None:
    """Return the same with the shared hosts of ``plan``; None also where some sites have votes of their own."""
    found = availability(fleet, plan)
    own = any(one.why == "own_tie_breaker" for one in plan.no_host_needed)
    if own or not found.clusters or found.missing or found.left_out:
        return None
    return found.cluster_minutes / found.clusters


def _mean(fleet: Fleet, sites: Bools, down: Floats) -> float | None:
    clusters = fleet.clusters[sites]
    if not clusters.sum() or np.isnan(down[sites]).any():
        return None
    return float(np.average(down[sites], weights=clusters)) * MINUTES_A_YEAR
