"""Six sites and three hubs, which the examples in the rooms of sizing look at; no program uses them.

S1, S2, S3   reach hub A alone          hosts carry two clusters, S6 brings two that stay together
S4           reaches A and B            today S5 is at B, though C is nearer
S5, S6       reach B and C
"""

from __future__ import annotations

from typing import Any

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.rules import Checker
from planner.sizing.instance.problem import Problem, build_problem
from planner.standing import with_standing_hosts

_RTT_MS = (
    *(("S1", "A", 5.0), ("S2", "A", 6.0), ("S3", "A", 7.0)),
    *(("S4", "A", 8.0), ("S4", "B", 4.0)),
    *(("S5", "B", 9.0), ("S5", "C", 3.0), ("S6", "B", 5.0), ("S6", "C", 6.0)),
)


def six_sites(**policy: Any) -> Fleet:
    """Return the fleet, with further settings of the policy."""
    site, hub, rtt_ms = (list(column) for column in zip(*_RTT_MS, strict=True))
    names = [f"S{number}" for number in range(1, 7)]
    fleet = Fleet(
        sites=typed_table(columns.SITES, {"site": names, "clusters": [1, 1, 1, 1, 1, 2]}),
        pools=typed_table(columns.HUBS, {"hub": ["A", "B", "C"], "pool": ["A", "B", "C"]}),
        latency=typed_table(columns.LATENCY, {"site": site, "hub": hub, "rtt_ms": rtt_ms}),
        current=typed_table(columns.CURRENT, {"site": ["S5"], "hub": ["B"]}),
        policy=Policy(cluster_cap=2, latency_budget_ms=10.0, max_hosts_per_hub=3, **policy),
    )
    return with_standing_hosts(fleet)


def problem_of(fleet: Fleet) -> Problem:
    """Return the arrays of a fleet."""
    return build_problem(fleet, Checker.of(fleet))
