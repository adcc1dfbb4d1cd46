"""`audit`: every check on every site."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from planner.fleet import Fleet
from planner.latency import distance_km
from planner.readiness.audit_items import Check, Item, Outcome, Readiness, SiteReadiness, management_counts
from planner.readiness.hub_checks import HubChecks
from planner.readiness.practice import ONE_PLACE_KM, assumptions
from planner.readiness.site_checks import SITE_CHECKS, SiteRow
from planner.rules import Checker

CODES = {
    "nodes": "each cluster has exactly two data nodes",
    "one_location": "both nodes of a cluster in one location",
    "release_floor": "release floor reached",
    "management_floor": "management floor reached, or a management server elsewhere",
    "node_link": "node link known, fast enough and of enough cables",
    "service_link": "links for management and tie-breaker traffic known and fast enough",
    "storage": "a storage group in each data node, with a cache device where storage is of two tiers",
    "own_network": "tie-breaker traffic on a network of its own",
    "uplink": "uplink enough for the tie-breaker traffic",
    "third_location": "a hub at a third location",
    "eligible_hub": "a host there that the site may use",
}


def audit(fleet: Fleet) -> Readiness:
    """Return what must still be done or found out at each site before it can use a shared host.

    Every limit is inclusive, and a blank is an item of its own wherever the answer depends on it. ``management``
    counts sites by the hub of least round-trip time among those that a site may use; `Readiness.for_plan` counts
    by the hubs of a plan. The audit looks at one site at a time: whether all sites find room is the plan's answer.
    """
    checker = Checker.of(fleet)
    hubs = HubChecks(checker)
    sites, nearest = [], dict[str, dict[str, int]]()
    for position, row in enumerate(_rows(fleet)):
        if not checker.needs_host[position]:
            sites.append(SiteReadiness(row.site, row.clusters, "no_host_needed"))
            continue
        items = [item for check in SITE_CHECKS for item in check(row, fleet.policy)]
        items.extend(hubs.items(position))
        sites.append(SiteReadiness(row.site, row.clusters, _outcome(items), tuple(items)))
        if hub := hubs.nearest_hub(position):
            nearest[row.site] = {hub: row.clusters}
    return Readiness(tuple(sites), _checks(fleet), management_counts(sites, nearest), assumptions(fleet))


def _outcome(items: list[Item]) -> Outcome:
    if any(item.severity == "blocks" for item in items):
        return "not_a_fit"
    return "ready_after" if items else "ready"


def _checks(fleet: Fleet) -> tuple[Check, ...]:
    left_out = {code for code in ("release_floor", "management_floor") if not getattr(fleet.policy, code)}
    return tuple(Check(code, asks, code not in left_out) for code, asks in CODES.items())


def _rows(fleet: Fleet) -> Iterator[SiteRow]:
    """Yield each site as the checks see it."""
    table, places = fleet.sites, _Places(fleet)
    yield from map(
        SiteRow,
        fleet.site_ids,
        fleet.clusters.tolist(),
        table["nodes"].tolist(),
        table["node_locations"].tolist(),
        table["release"].tolist(),
        table["node_link"].tolist(),
        table["node_link_gbps"].tolist(),
        table["node_links"].tolist(),
        table["service_link_gbps"].tolist(),
        table["storage_tiers"].tolist(),
        table["storage_groups"].tolist(),
        table["cache_devices"].tolist(),
        table["uplink_mbps"].tolist(),
        fleet.traffic_kbps.tolist(),
        table["tie_breaker_net"].tolist(),
        table["storage_net"].tolist(),
        table["management_net"].tolist(),
        map(places.apart, fleet.site_ids, table["zone"]),
    )


class _Places:
    """Failure zones that bear the id of a hub or site are locations; a site cannot lie in two of them."""

    def __init__(self, fleet: Fleet) -> None:
        self._at: dict[str, tuple[float, float]] = {}
        for table, key in ((fleet.sites, "site"), (fleet.pools, "hub")):
            self._at.update(zip(table[key], zip(table["latitude"], table["longitude"], strict=True), strict=True))

    def apart(self, site: str, zones: tuple[str, ...]) -> tuple[str, ...]:
        """Return the other locations among ``zones``, if there are several and they are not shown to be one place."""
        named = [zone for zone in zones if zone in self._at and zone != site]
        if len(named) < 2:
            return ()
        first, *rest = (self._at[zone] for zone in named)
        far = distance_km(*first, *np.array(rest).T)
        return () if (far <= ONE_PLACE_KM).all() else tuple(named)
