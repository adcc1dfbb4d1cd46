"""The fewest hosts of a fleet, straight from its tables: to check answers against, and to compare times with.

Rules and round-trip times are worked out here anew; nothing is taken from the planner, and nothing is made fast.
``Tables`` are those of `random_fleet.generate` and `county_fleet.county_tables`.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

import networkx as nx
import pandas as pd
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, diags_array, hstack

Tables = dict[str, pd.DataFrame]

# oldest first, of all sample fleets
RELEASES = (
    *("4.0", "4.1", "4.2", "7.8", "7.9", "8.0", "8.2", "8.4", "8.4 SP1"),
    *("8.6", "8.6-p2", "8.10", "8.10 SP1", "9.0 beta 2"),
)


def records(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as dicts without their blanks."""
    return [
        {name: value for name, value in row.items() if value is not None and value != "" and value == value}
        for row in table.to_dict("records")
    ]


def settings_of(tables: Tables) -> dict[str, Any]:
    return dict(zip(tables["Policy"]["setting"], tables["Policy"]["value"], strict=True))


def known_rtt_ms(tables: Tables) -> dict[tuple[str, str], float]:
    """Measured pairs, then the 95th percentile (nearest rank) of probes with little loss, then paths over links."""
    known: dict[tuple[str, str], float] = {}
    if "Links" in tables:
        graph = nx.Graph()
        for row in records(tables["Links"]):
            graph.add_edge(row["from"], row["to"], ms=row.get("latency_ms", row.get("km", 0) * 0.005))
        for site, hub in itertools.product(tables["Sites"]["site"], tables["Hubs"]["hub"].unique()):
            if site in graph and hub in graph and nx.has_path(graph, site, hub):
                known[site, hub] = 2 * nx.shortest_path_length(graph, site, hub, weight="ms")
    if "Samples" in tables:
        for pair, probes in tables["Samples"].groupby(["site", "hub"])["rtt_ms"]:
            if probes.isna().mean() * 100 <= settings_of(tables)["max_loss_percent"]:
                known[pair] = sorted(probes)[math.ceil(0.95 * len(probes)) - 1]
    columns = (tables["Latency"][name].tolist() for name in ("site", "hub", "rtt_ms"))
    return known | {(site, hub): rtt_ms for site, hub, rtt_ms in zip(*columns, strict=True)}


def eligible_pools(tables: Tables) -> dict[str, set[str]]:
    """Pools that each site without a tie-breaker of its own may use."""
    policy, rtt_ms, pools = settings_of(tables), known_rtt_ms(tables), records(tables["Hubs"])
    floor = RELEASES.index(str(policy["release_floor"]))
    return {
        site["site"]: {pool.get("pool", pool["hub"]) for pool in pools if may_use(site, pool, rtt_ms, policy, floor)}
        for site in records(tables["Sites"])
        if site["own_tie_breaker"] != "yes"
    }


def may_use(
    site: dict[str, Any], pool: dict[str, Any], rtt_ms: dict[tuple[str, str], float], policy: dict[str, Any], floor: int
) -> bool:
    hub, budget_ms = pool["hub"], site.get("latency_budget_ms", policy.get("latency_budget_ms"))
    apart = set(site.get("zone", "-").split(";")).isdisjoint(pool["zone"].split(";"))
    in_region = site["region"] in pool.get("serves_regions", site["region"]).split(";")
    releases_fit = floor <= RELEASES.index(site["release"]) <= RELEASES.index(pool["host_release"])
    wanted = site.get("pinned_hub", hub) == hub and site.get("barred_hubs") != hub
    return apart and in_region and releases_fit and wanted and rtt_ms.get((site["site"], hub), math.inf) <= budget_ms


def usable_caps(tables: Tables) -> dict[str, int]:
    policy = settings_of(tables)
    kept = 100 - policy.get("reserve_percent", 0)
    return {
        pool.get("pool", pool["hub"]): int(pool.get("cluster_cap", policy["cluster_cap"])) * kept // 100
        for pool in records(tables["Hubs"])
    }


def most_hosts(tables: Tables) -> dict[str, int]:
    return {pool.get("pool", pool["hub"]): int(pool["max_hosts"]) for pool in records(tables["Hubs"])}


def clusters_of(tables: Tables) -> dict[str, int]:
    return dict(zip(tables["Sites"]["site"], tables["Sites"]["clusters"].tolist(), strict=True))


def fewest_hosts(tables: Tables, *, limited: bool = True, leave_out: frozenset[str] = frozenset()) -> int:
    """Return the fewest hosts that serve every site with an eligible pool, but those to ``leave_out``.

    One binary for each eligible pair and one count for each pool, proven by HiGHS through SciPy. The model lets a site
    straddle two hosts of a pool, so it is a lower bound; that it is reached is shown by packing. ``limited=False``
    lifts max_hosts. ValueError when nothing was proven, or packing needs more.
    """
    clusters, caps = clusters_of(tables), usable_caps(tables)
    limits = most_hosts(tables) if limited else dict.fromkeys(caps, math.inf)
    sites = {site: pools for site, pools in eligible_pools(tables).items() if pools and site not in leave_out}
    pairs = [(site, pool) for site, pools in sites.items() for pool in sorted(pools)]
    site_at, pool_at = ({one: position for position, one in enumerate(of)} for of in (sites, caps))
    served = csr_array(([1] * len(pairs), ([site_at[s] for s, _ in pairs], range(len(pairs)))))
    carried = csr_array(
        ([clusters[s] for s, _ in pairs], ([pool_at[p] for _, p in pairs], range(len(pairs)))),
        shape=(len(caps), len(pairs)),
    )
    solved = milp(
        c=[1] * len(caps) + [0] * len(pairs),
        integrality=1,
        bounds=Bounds(0, [*limits.values(), *[1] * len(pairs)]),
        constraints=[
            LinearConstraint(hstack([csr_array((len(sites), len(caps))), served]), 1, 1),
            LinearConstraint(hstack([diags_array([-float(cap) for cap in caps.values()]), carried]), -math.inf, 0),
        ],
        options={"time_limit": 60},
    )
    if solved.status != 0:
        raise ValueError(f"not proven: {solved.message}")
    chosen = [pair for pair, use in zip(pairs, solved.x[len(caps) :], strict=True) if use > 0.5]
    used = {pool: packed([clusters[s] for s, p in chosen if p == pool], cap) for pool, cap in caps.items()}
    if sum(used.values()) > round(solved.fun) or any(used[pool] > limits[pool] for pool in used):
        raise ValueError(f"first fit decreasing needs {used}, the model {solved.fun}")
    return round(solved.fun)


def packed(sizes: list[int], cap: int) -> int:
    """Hosts that first fit decreasing needs."""
    free: list[int] = []
    for size in sorted(sizes, reverse=True):
        at = next((n for n, room in enumerate(free) if room >= size), len(free))
        free[at:] = [free[at] - size, *free[at + 1 :]] if at < len(free) else [cap - size]
    return len(free)


def filled_largest_first(tables: Tables) -> int:
    """Hosts that the clusters to serve would need if every site could use every pool."""
    left = sum(clusters_of(tables)[site] for site, pools in eligible_pools(tables).items() if pools)
    caps, limits = usable_caps(tables), most_hosts(tables)
    for count, cap in enumerate(sorted((caps[p] for p in caps for _ in range(limits[p])), reverse=True)):
        if left <= 0:
            return count
        left -= cap
    raise ValueError("all hosts together are too small")
