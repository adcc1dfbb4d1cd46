"""What a loss does to a plan, and how often to expect it: drills and availability. Reads a Fleet and a Plan only."""

from planner.resilience.drills import Drill, DrillReport, drill
from planner.resilience.uptime import Availability, availability

__all__ = ["Availability", "Drill", "DrillReport", "availability", "drill"]
