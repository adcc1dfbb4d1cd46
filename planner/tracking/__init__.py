"""A rollout under way: copies of the team's workbook as one, what is done, what is left, and when it may end."""

from planner.tracking.merge import merged
from planner.tracking.state import carried_on, track

__all__ = ["carried_on", "merged", "track"]
