"""Modelled round-trip times: shortest paths over the WAN graph of the Links sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from planner.fleet import Fleet, Floats, Ints, positions
from planner.latency.distance import FIBRE_MS_PER_KM, route_km
from planner.latency.figures import PairFigures

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix


def from_links(fleet: Fleet) -> PairFigures:
    """Return twice the one-way delay of the shortest path from each site to each hub that it reaches.

    Links work in both directions; of parallel ones the fastest counts. Sites, hubs and other nodes may all be passed
    through, and a site and a hub of one id are one node. Unreached pairs have no row. A link without a delay takes
    5 µs for each km of its route, and a route that is not known the length that planning assumes (`route_km`).
    """
    ends, one_way_ms = delays_of_links(fleet)
    node, names = pd.factorize(ends.ravel())
    site_node, hub_node = positions(fleet.site_ids, names.tolist()), positions(fleet.hub_ids, names.tolist())
    sites, hubs = np.flatnonzero(site_node >= 0), np.flatnonzero(hub_node >= 0)
    if not (len(sites) and len(hubs)):
        return PairFigures.none()
    from scipy.sparse.csgraph import dijkstra

    graph = _graph(node[0::2], node[1::2], one_way_ms, len(names))
    keys, rtts = [], []
    for hub in hubs:  # one hub at a time: a table of all nodes by all hubs would be dense
        rtt_ms = 2.0 * dijkstra(graph, directed=False, indices=hub_node[hub])[site_node[sites]]
        reached = np.isfinite(rtt_ms)
        keys.append(sites[reached] * len(fleet.hub_ids) + hub)
        rtts.append(rtt_ms[reached])
    key = np.concatenate(keys)
    order = np.argsort(key)
    return PairFigures.of_rtt(key[order], np.concatenate(rtts)[order])


def delays_of_links(fleet: Fleet) -> tuple[np.ndarray, Floats]:
    """Return the two ends, shape (links, 2), and the one-way delay in ms of each link whose delay can be told."""
    delay = fleet.links["latency_ms"].to_numpy(dtype=np.float64)
    km = fleet.links["km"].to_numpy(dtype=np.float64)
    km = np.where(np.isnan(km), route_km(fleet.links["air_km"].to_numpy(dtype=np.float64)), km)
    delay = np.where(np.isnan(delay), km * FIBRE_MS_PER_KM, delay)
    told = ~np.isnan(delay)
    return fleet.links[["from", "to"]].to_numpy(dtype=object)[told], delay[told]


def _graph(one: Ints, other: Ints, one_way_ms: Floats, nodes: int) -> csr_matrix:
    """Return the graph as an upper triangle with the fastest of parallel links; a matrix would add them up."""
    from scipy.sparse import csr_matrix

    low, high = np.minimum(one, other), np.maximum(one, other)
    order = np.lexsort((one_way_ms, high, low))
    low, high, one_way_ms = low[order], high[order], one_way_ms[order]
    fastest = np.ones(len(low), dtype=np.bool_)
    fastest[1:] = (np.diff(low) > 0) | (np.diff(high) > 0)
    return csr_matrix((one_way_ms[fastest], (low[fastest], high[fastest])), shape=(nodes, nodes))
