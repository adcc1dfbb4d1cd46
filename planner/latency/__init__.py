"""Round-trip time of every site-hub pair that some source knows, with the evidence for it.

A pair's figures come from the first of these sources that states them:

1. the Latency sheet (``measured``);
2. the Samples sheet, reduced to the policy's percentile (``measured``);
3. the shortest path over the Links sheet (``modelled``);
4. where the policy says ``unknown_latency = estimate``, the distance between the two places (``estimated``).

A pair that none of them knows has no row: unknown is never zero. A measured pair carries the date of its
measurement where that is known; what its age and evidence are good for is for the rules to say.
"""

from planner.latency.distance import distance_km, estimate_range_ms, farther_than
from planner.latency.pairs import PairTable, resolve
from planner.latency.round_trips import EVIDENCE, RoundTrips
from planner.latency.wan import delays_of_links

__all__ = [
    "EVIDENCE",
    "PairTable",
    "RoundTrips",
    "delays_of_links",
    "distance_km",
    "estimate_range_ms",
    "farther_than",
    "resolve",
]
