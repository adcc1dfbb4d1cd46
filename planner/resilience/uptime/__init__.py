"""Availability of clusters: the majority of three votes, with what many sites share counted as shared."""

from planner.resilience.uptime.down_times import Availability, Missing, PartShare, SiteUptime, Together
from planner.resilience.uptime.expect_down_time import availability

__all__ = ["Availability", "Missing", "PartShare", "SiteUptime", "Together", "availability"]
