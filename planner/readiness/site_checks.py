"""What is asked of a site by itself: nodes, location, releases, node link, networks, uplink."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from planner.fleet import Policy
from planner.readiness.audit_items import Item
from planner.readiness.networks import Network, comparable, parse_network, shared
from planner.readiness.practice import OTHER_TRAFFIC_GBPS, USUAL_DIRECT_LINKS
from planner.releases import parse_release

_ROUNDING = 1 + 1e-9  # 1.1 Mb/s are 1100.0000000000002 kb/s in binary floating point; a limit itself is allowed


@dataclass(frozen=True, slots=True)
class SiteRow:
    """One site as the checks see it; blank text is ``""``, a blank number NaN.

    ``traffic_kbps`` is that of all its clusters; ``places`` are the ids of other locations among its failure zones.
    """

    site: str
    clusters: int
    nodes: float
    node_locations: float
    release: str
    node_link: str
    node_link_gbps: float
    node_links: float
    service_link_gbps: float
    storage_tiers: float
    storage_groups: float
    cache_devices: float
    uplink_mbps: float
    traffic_kbps: float
    tie_breaker_net: str
    storage_net: str
    management_net: str
    places: tuple[str, ...]


SiteCheck = Callable[[SiteRow, Policy], Iterator[Item]]


def fill_in(code: str, site: str, column: str, detail: str = "", hint: str = "") -> Item:
    """Return the item of a cell that is blank or says nothing certain."""
    return Item(code, "unknown", site, detail or f"{column} is blank", f"Fill in column {column}{hint}.", (column,))


def nodes(row: SiteRow, _policy: Policy) -> Iterator[Item]:
    """A cluster has exactly two data nodes."""
    if math.isnan(row.nodes):
        yield fill_in("nodes", row.site, "nodes", "nodes is blank (the plan assumes 2)")
    elif row.nodes != 2:
        detail = f"{row.nodes:g} data nodes; a shared tie-breaker is for clusters of two"
        remedy = "Rebuild it as clusters of two data nodes. If each node has a row, make it one row per site."
        yield Item("nodes", "blocks", row.site, detail, remedy, ("nodes",))


def one_location(row: SiteRow, _policy: Policy) -> Iterator[Item]:
    """Both data nodes of a cluster stand in one location."""
    code, column = "one_location", "node_locations"
    if row.node_locations > 1:
        detail = f"the nodes of a cluster stand in {row.node_locations:g} locations"
        remedy = "Move both nodes to one location. A cluster over two places needs another design."
        yield Item(code, "blocks", row.site, detail, remedy, (column,))
    elif math.isnan(row.node_locations) and len(row.places) > 1:
        detail = f"{column} is blank, and zone names more than one location: {', '.join(row.places)}"
        yield fill_in(code, row.site, column, detail)
    elif math.isnan(row.node_locations) and row.node_link != "direct":
        yield fill_in(code, row.site, column, f"{column} is blank, and no direct link shows a single location")


def release_floor(row: SiteRow, policy: Policy) -> Iterator[Item]:
    """The clusters run the release floor or something newer."""
    floor = policy.release_floor
    detail = f"release {row.release} is older than the release floor {floor}"
    yield from _from_release(row, floor, "release_floor", detail, f"Upgrade the clusters to release {floor} or newer.")


def management_floor(row: SiteRow, policy: Policy) -> Iterator[Item]:
    """Clusters older than the management floor have a management server at another location."""
    floor = policy.management_floor
    detail = f"release {row.release} is below the management floor {floor}"
    remedy = f"Provide a management server at another location, or upgrade the clusters to release {floor} or newer."
    yield from _from_release(row, floor, "management_floor", detail, remedy)


def _from_release(row: SiteRow, floor: str, code: str, detail: str, remedy: str) -> Iterator[Item]:
    """Yield an item where the release is older than ``floor``, or is not known; none where the floor is blank."""
    if floor and not row.release:
        yield fill_in(code, row.site, "release")
    elif floor and parse_release(row.release) < parse_release(floor):
        yield Item(code, "open", row.site, detail, remedy)


def node_link(row: SiteRow, policy: Policy) -> Iterator[Item]:
    """The link between the nodes is known and fast enough for storage and migration traffic."""
    code, least = "node_link", policy.node_link_gbps
    if not row.node_link:
        yield fill_in(code, row.site, "node_link", hint=" (direct or switched)")
    if math.isnan(row.node_link_gbps):
        yield fill_in(code, row.site, "node_link_gbps")
    elif row.node_link_gbps < least:
        enough = "enough for" if row.node_link_gbps >= OTHER_TRAFFIC_GBPS else "too slow even for"
        detail = (
            f"the {row.node_link or 'node'} link has {row.node_link_gbps:g} Gb/s, {enough} management, tie-breaker and "
            f"guest traffic; storage and migration traffic needs {least:g} Gb/s"
        )
        remedy = f"Fit a node link of {least:g} Gb/s or more (common practice: {USUAL_DIRECT_LINKS}, direct)."
        yield Item(code, "open", row.site, detail, remedy, ("node_link_gbps",))
    if math.isnan(row.node_links):
        yield fill_in(code, row.site, "node_links", hint=f" (common practice: {policy.node_links} cables)")
    elif row.node_links < policy.node_links:
        detail = f"the node link has {row.node_links:g} of {policy.node_links} cables: the loss of one cuts the mirror"
        remedy = f"Lay {policy.node_links} cables between the data nodes."
        yield Item(code, "open", row.site, detail, remedy, ("node_links",))


def service_link(row: SiteRow, policy: Policy) -> Iterator[Item]:
    """The links for management and tie-breaker traffic are known and fast enough."""
    code, least = "service_link", policy.service_link_gbps
    if math.isnan(row.service_link_gbps):
        yield fill_in(code, row.site, "service_link_gbps", hint=f" ({least:g} Gb/s is enough)")
    elif row.service_link_gbps < least:
        detail = f"links of {row.service_link_gbps:g} Gb/s for management and tie-breaker traffic, {least:g} are wanted"
        remedy = f"Fit links of {least:g} Gb/s for management and tie-breaker traffic."
        yield Item(code, "open", row.site, detail, remedy, ("service_link_gbps",))


def storage(row: SiteRow, _policy: Policy) -> Iterator[Item]:
    """Each data node has a storage group, and a cache device in each group where its storage is of two tiers."""
    code = "storage"
    for column in ("storage_tiers", "storage_groups"):
        if math.isnan(getattr(row, column)):
            yield fill_in(code, row.site, column)
    if row.storage_groups == 0:
        remedy = "Give each data node at least one storage group."
        yield Item(code, "open", row.site, "a data node has no storage group", remedy, ("storage_groups",))
    if row.storage_tiers == 1:
        return
    if math.isnan(row.cache_devices):
        yield fill_in(code, row.site, "cache_devices", hint=" (0 where storage is of one tier)")
        return
    groups = 1.0 if math.isnan(row.storage_groups) else max(1.0, row.storage_groups)
    if row.storage_tiers == 2 and row.cache_devices < groups:
        detail = f"{row.cache_devices:g} cache devices for {groups:g} storage groups of two tiers"
        remedy = "Fit a cache device in every storage group of each data node."
        yield Item(code, "open", row.site, detail, remedy, ("cache_devices",))


def own_network(row: SiteRow, _policy: Policy) -> Iterator[Item]:
    """Tie-breaker traffic has a network of its own, apart from storage and management."""
    code, known = "own_network", dict[str, Network]()
    for column in ("tie_breaker_net", "storage_net", "management_net"):
        text = getattr(row, column)
        if not text:
            yield fill_in(code, row.site, column)
            continue
        try:
            known[column] = parse_network(text)
        except ValueError as error:
            remedy = f"Write column {column} as VLAN id or CIDR block."
            yield Item(code, "unknown", row.site, f"{column} cannot be read: {error}", remedy, (column,))
    ours = known.pop("tie_breaker_net", None)
    for column, other in known.items():
        if ours is not None:
            yield from _apart(row.site, ours, column, other)


def _apart(site: str, ours: Network, column: str, other: Network) -> Iterator[Item]:
    """Yield an item where the tie-breaker network is shared with another, or where that cannot be told."""
    columns, traffic = ("tie_breaker_net", column), column.removesuffix("_net")
    if words := shared(ours, other):
        detail = f"tie-breaker and {traffic} traffic share a network: {words}"
        yield Item("own_network", "open", site, detail, "Give tie-breaker traffic a network of its own.", columns)
    elif not comparable(ours, other):
        kinds = " against ".join(" and ".join(sorted(network.kinds)) for network in (ours, other))
        detail = f"tie-breaker and {traffic} networks cannot be compared: {kinds}"
        remedy = "State both networks in one kind: VLAN ids, IPv4 or IPv6 blocks."
        yield Item("own_network", "unknown", site, detail, remedy, columns)


def uplink(row: SiteRow, policy: Policy) -> Iterator[Item]:
    """The uplink carries the tie-breaker traffic."""
    code, share = "uplink", policy.uplink_share_percent
    if math.isnan(row.uplink_mbps):
        yield fill_in(code, row.site, "uplink_mbps")
    if row.traffic_kbps == 0:
        detail = "tie_breaker_kbps is blank or 0 here and in the policy, so the traffic is not known"
        yield fill_in(code, row.site, "tie_breaker_kbps", detail, ". Or fill in the setting tie_breaker_kbps")
        return
    room_kbps = row.uplink_mbps * 1000.0 * share / 100.0
    if row.traffic_kbps > room_kbps * _ROUNDING:
        detail = (
            f"tie-breaker traffic of {row.traffic_kbps:g} kb/s exceeds {room_kbps:g} kb/s, {share:g} % of the uplink "
            f"of {row.uplink_mbps:g} Mb/s"
        )
        yield Item(code, "open", row.site, detail, "Order a larger uplink, or lower the traffic.", ("uplink_mbps",))


SITE_CHECKS: tuple[SiteCheck, ...] = (
    nodes,
    one_location,
    release_floor,
    management_floor,
    node_link,
    service_link,
    storage,
    own_network,
    uplink,
)
