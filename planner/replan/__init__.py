"""From today's assignments to a new plan: hosts emptied, assignments kept, and moves weighed against hosts."""

from planner.replan.draining import drained
from planner.replan.freezing import plan_frozen
from planner.replan.replan_fleet import replan
from planner.replan.trade_off import Point, trade_off

__all__ = ["Point", "drained", "plan_frozen", "replan", "trade_off"]
