"""What a loss does to a plan, and how often to expect it: drills and availability. Reads a Fleet and a Plan only."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.on_demand import on_demand

if TYPE_CHECKING:
    from planner.resilience.drills import Drill, DrillReport, drill
    from planner.resilience.uptime import Availability, availability

__all__ = ["Availability", "Drill", "DrillReport", "availability", "drill"]

_HOMES = {
    "Availability": "uptime",
    "Drill": "drills",
    "DrillReport": "drills",
    "availability": "uptime",
    "drill": "drills",
}
__getattr__ = on_demand(__name__, _HOMES)
