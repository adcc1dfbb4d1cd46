"""What the county chain's survey says of nodes, links, networks and uplinks: the columns of the readiness audit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

TIE_BREAKER_KBPS = 80
UPLINK_SHARE_PERCENT = 10
MANAGEMENT_FLOOR = "8.4"
# Fitted alike in every store that was surveyed.
FITTED = {
    "node_links": 2.0,
    "service_link_gbps": 1.0,
    "storage_tiers": 2.0,
    "storage_groups": 1.0,
    "cache_devices": 1.0,
}

# What the survey found, and the share of the stores. Releases below the management floor come on top.
PREPARATION = {
    "sound": (0.68, "nothing is wrong"),
    "slow_link": (0.07, "1 Gb/s between the nodes"),
    "one_vlan": (0.05, "tie-breaker traffic in the VLAN of management"),
    "overlap": (0.04, "tie-breaker block inside the storage block"),
    "mixed": (0.03, "tie-breaker network as CIDR, the others as VLAN ids"),
    "thin_uplink": (0.03, "an uplink of half a megabit"),
    "no_such_vlan": (0.02, "a VLAN id beyond 4094"),
    "not_surveyed": (0.06, "nobody has been there"),
    "two_places": (0.02, "one node in the store, one in the warehouse"),
}


def with_equipment(sites: pd.DataFrame, seed: int) -> pd.DataFrame:
    """Return ``sites`` with the survey's columns before the user's own, and ``preparation``, a key of `PREPARATION`.

    A generator of its own leaves everything else of the fleet as it is.
    """
    rng = np.random.Generator(np.random.PCG64(seed + 2))
    shares = np.array([share for share, _ in PREPARATION.values()])
    found = rng.choice(np.array(list(PREPARATION), dtype=object), len(sites), p=shares).tolist()
    rows = [_store(rng, number, kind) for number, kind in enumerate(found)]
    survey = pd.DataFrame(rows)
    at = sites.columns.get_loc("manager")
    return pd.concat([sites.iloc[:, :at], survey, sites.iloc[:, at:]], axis=1).assign(preparation=found)


def _store(rng: np.random.Generator, number: int, kind: str) -> dict[str, Any]:
    """Return the surveyed cells of one store."""
    direct, as_blocks = bool(rng.random() < 0.7), bool(rng.random() < 0.3) or kind == "overlap"
    gbps, mbps = float(rng.choice([10, 10, 25])), float(rng.choice([20, 50, 100]))
    networks = [f"10.{number}.{third}.0/24" for third in (30, 10, 20)] if as_blocks else ["30", "10", "20"]
    if kind == "not_surveyed":
        blank = dict.fromkeys(("node_link", "tie_breaker_net", "storage_net", "management_net"), "")
        figures = ("nodes", "node_locations", "node_link_gbps", *FITTED, "uplink_mbps")
        return {**dict.fromkeys(figures, np.nan), **blank}
    if kind == "one_vlan":
        networks = ["20", "10", "20"]
    elif kind == "overlap":
        networks[1] = f"10.{number}.0.0/19"
    elif kind == "mixed":
        networks = [f"10.{number}.30.0/24", "10", "20"]
    elif kind == "no_such_vlan":
        networks = ["4095", "10", "20"]
    return {
        "nodes": 2.0,
        "node_locations": 2.0 if kind == "two_places" else np.nan if direct else 1.0,
        "node_link": "direct" if direct and kind != "two_places" else "switched",
        "node_link_gbps": 1.0 if kind == "slow_link" else gbps,
        **FITTED,
        "uplink_mbps": 0.5 if kind == "thin_uplink" else mbps,
        "tie_breaker_net": networks[0],
        "storage_net": networks[1],
        "management_net": networks[2],
    }
