"""The sheets of what lies between sites and hubs: latency, probes, links, and who serves whom today."""

from __future__ import annotations

from planner.columns.kinds import Column, Sheet
from planner.columns.places import HUBS, SITES

# fmt: off
LATENCY = Sheet(
    "Latency",
    "measured round-trip times, as a list of pairs or as a matrix with one column for each hub",
    aliases=("rtt", "latencies", "round_trip_times", "latency_matrix"),
    columns=(
        Column("site", "id", "site id", required=True, aliases=SITES.columns[0].aliases, example="0042"),
        Column("hub", "id", "hub id", required=True, aliases=HUBS.columns[0].aliases, example="ESK"),
        Column("rtt_ms", "number", "round-trip time; blank means unknown, never zero", "ms", required=True,
            aliases=("rtt", "latency_ms", "latency", "round_trip_ms"), least=0, least_excluded=True, most=60000,
            example=18.4),
        Column("measured_at", "moment", "when it was measured", aliases=("measured", "measured_on")),
        Column("loss_percent", "number", (
            "share of the probes that were "
            "lost"
        ), "%", aliases=("loss", "packet_loss_percent"), least=0,
            most=100, example=0),
        Column("pair_cost", "number",
            "what the circuit or transit of this pair costs", "money a year", default=0,
            aliases=("circuit_cost", "transit_cost"), least=0),
    ),
)

SAMPLES = Sheet(
    "Samples",
    "single probes of pairs of site and hub; the policy's percentile of them counts as the RTT",
    aliases=("probes", "latency_samples"),
    columns=(
        Column("site", "id", "site id", required=True, aliases=SITES.columns[0].aliases, example="0042"),
        Column("hub", "id", "hub id", required=True, aliases=HUBS.columns[0].aliases, example="ESK"),
        Column("at", "moment", "when the probe was sent", aliases=("time", "timestamp", "sent_at")),
        Column("rtt_ms", "number", "round-trip time of the probe; blank means lost", "ms", required=True,
            aliases=("rtt", "latency_ms"), least=0, least_excluded=True, most=60000, example=18.4),
    ),
)

LINKS = Sheet(
    "Links",
    "WAN links; the shortest path gives a modelled round-trip time where none was measured",
    aliases=("wan_links", "wan"),
    columns=(
        Column("from", "id", "site, hub or any other node", required=True, aliases=("from_node", "a_end"),
            example="0042"),
        Column("to", "id", "site, hub or any other node", required=True, aliases=("to_node", "b_end"), example="ESK"),
        Column("latency_ms", "number", "one-way delay of the link, either direction", "ms, one way",
            aliases=("delay_ms",), least=0, most=60000, example=4.2),
        Column("km", "number", "route length, used where latency_ms is blank (5 µs/km)", "km",
            aliases=("length_km", "route_km", "distance_km"), least=0, most=50000),
        Column("air_km", "number",
            "straight-line distance, used where the route length is not known; a detour is added to it", "km",
            aliases=("straight_km", "crow_flies_km"), least=0, most=20100),
    ),
)

CURRENT = Sheet(
    "Current",
    "which host serves which site today",
    aliases=("current_assignments", "today"),
    columns=(
        Column("site", "id", "site id", required=True, aliases=SITES.columns[0].aliases, example="0042"),
        Column("hub", "id", "hub id", required=True, aliases=HUBS.columns[0].aliases, example="ESK"),
        Column("host", "id", "name of the host", aliases=("host_name", "tie_breaker_host"), example="ESK-01"),
        Column("pool", "id", "pool of the host, where its hub has several", aliases=("pool_id", "host_pool"),
            default="the only pool there that fits the host and its sites"),
    ),
)
# fmt: on
