"""Figures that the audit takes from practice, and what it assumes, in words."""

from __future__ import annotations

from planner.fleet import Fleet

# Common practice, no source: management, tie-breaker and guest traffic does well with 1 Gb/s; storage and migration
# traffic between the nodes wants a direct link of 10 or 25 Gb/s. What is asked of the link is the policy's
# node_link_gbps, 10 unless a planner changes it.
OTHER_TRAFFIC_GBPS = 1.0
USUAL_DIRECT_LINKS = "10 or 25 Gb/s"
# Common practice, no source: a campus is about this wide. Places nearer than this are not shown to be apart.
ONE_PLACE_KM = 1.0


def assumptions(fleet: Fleet) -> tuple[str, ...]:
    """Return what the audit of ``fleet`` rests on beside its cells, a sentence each."""
    policy = fleet.policy
    told = [
        "Readiness does not change the plan: a site that is not ready is planned all the same.",
        f"The node link carries storage and migration traffic and needs {policy.node_link_gbps:g} Gb/s "
        f"(node_link_gbps); {USUAL_DIRECT_LINKS} on direct links is common practice, no source. Switched links are "
        "held to the same figure.",
        f"The node link is {policy.node_links} cables (node_links), and {policy.service_link_gbps:g} Gb/s "
        "(service_link_gbps) is enough for management and tie-breaker traffic: common practice, no source.",
        "Each data node has a storage group, with a cache device where its storage is of two tiers: common practice, "
        "no source.",
        f"The tie-breaker traffic of all clusters of a site may take {policy.uplink_share_percent:g} % of its uplink "
        "(uplink_share_percent); what else uses the uplink is not known.",
        "Where node_locations is blank, two nodes on a direct link are taken to stand in one location.",
        f"A hub is shown to be elsewhere by failure zones stated for both places, or by more than {ONE_PLACE_KM:g} km "
        "between them (common practice, no source).",
    ]
    if not policy.release_floor:
        told.append("The policy sets no release_floor: no release was checked.")
    if not policy.management_floor:
        told.append("The policy sets no management_floor: management servers were not checked.")
    return tuple(told)
