"""Drills: a simulated loss of hosts, hubs, zones or WAN links, and what the plan does about it."""

from planner.resilience.drills.drill_report import (
    BlastRadius,
    Displaced,
    Drill,
    DrillReport,
    HostLoad,
    Loss,
    LossFigures,
    Outcome,
    PairOfLosses,
    SingleLoss,
)
from planner.resilience.drills.run_drills import drill

__all__ = [
    "BlastRadius",
    "Displaced",
    "Drill",
    "DrillReport",
    "HostLoad",
    "Loss",
    "LossFigures",
    "Outcome",
    "PairOfLosses",
    "SingleLoss",
    "drill",
]
