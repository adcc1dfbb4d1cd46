"""A rollout under way: copies of the team's workbook as one, what is done and left, when it may end, the fleet now."""

from planner.tracking.fleet_now import FleetNow, fleet_now
from planner.tracking.merge import merged
from planner.tracking.resolving import resolved
from planner.tracking.same_plan import of_other_plans
from planner.tracking.state import doubts, track
from planner.tracking.tickets import rollout_of, tickets_for, tickets_in

__all__ = [
    "FleetNow",
    "doubts",
    "fleet_now",
    "merged",
    "of_other_plans",
    "resolved",
    "rollout_of",
    "tickets_for",
    "tickets_in",
    "track",
]
