"""Drills: a simulated loss of hosts, hubs, zones or WAN links, and what the plan does about it."""

from planner.resilience.drills.nouns import (
    BlastRadius,
    Displaced,
    Drill,
    DrillReport,
    Figures,
    HostLoad,
    Loss,
    Outcome,
    PairOfLosses,
    SingleLoss,
)
from planner.resilience.drills.road import drill

__all__ = [
    "BlastRadius",
    "Displaced",
    "Drill",
    "DrillReport",
    "Figures",
    "HostLoad",
    "Loss",
    "Outcome",
    "PairOfLosses",
    "SingleLoss",
    "drill",
]
