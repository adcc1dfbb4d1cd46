"""Intake: a fleet in files or tables -> a validated `planner.fleet.Fleet`, or every finding at once.

``files`` (with ``archive``, ``xlsx``, ``ods``, ``csvfolder``) and ``frames`` yield cells with their addresses;
``headers`` finds the columns; ``cells`` (with ``numbers``, ``texts``, ``dates``) cleans them by kind; ``tables``,
``latency`` (with ``directions``), ``pings`` (with ``ping_output``) and ``policy`` build typed tables; ``ids``,
``draft`` and ``checks`` (with ``evidence``) hold them against each other. ``road`` runs it all.
"""

from planner.intake.messages import UNREADABLE
from planner.intake.road import fleet_from_tables, read_fleet

__all__ = ["UNREADABLE", "fleet_from_tables", "read_fleet"]
