"""Intake: a fleet in files or tables -> a validated `planner.fleet.Fleet`, or every finding at once.

``files`` (with ``archive``, ``xlsx``, ``ods``, ``csvfolder``) and ``frames`` yield cells with their addresses;
``sheets`` and ``headers`` find the tables, ``matching`` (with ``names``, ``units``, ``content`` and ``mapping``) the
columns; ``cells`` (with ``numbers``, ``texts``, ``dates``, ``known_words``) cleans them by kind; ``tables``,
``latency`` (with ``directions``), ``pings`` (with ``ping_output``) and ``policy`` build typed tables; ``ids``,
``draft`` and ``checks`` (with ``evidence``) hold them against each other. ``read_fleet`` runs it all.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.on_demand import on_demand

if TYPE_CHECKING:
    from planner.intake.adopting import Adopting, adopt
    from planner.intake.layout import SheetLayout
    from planner.intake.mapping_text import adoption_text, mapping_text
    from planner.intake.messages import REPAIRS, UNREADABLE
    from planner.intake.read_fleet import Inspection, fleet_from_tables, inspect_fleet, read_fleet

__all__ = [
    "REPAIRS",
    "UNREADABLE",
    "Adopting",
    "Inspection",
    "SheetLayout",
    "adopt",
    "adoption_text",
    "fleet_from_tables",
    "inspect_fleet",
    "mapping_text",
    "read_fleet",
]

_HOMES = {
    "Adopting": "adopting",
    "Inspection": "read_fleet",
    "REPAIRS": "messages",
    "SheetLayout": "layout",
    "UNREADABLE": "messages",
    "adopt": "adopting",
    "adoption_text": "mapping_text",
    "fleet_from_tables": "read_fleet",
    "inspect_fleet": "read_fleet",
    "mapping_text": "mapping_text",
    "read_fleet": "read_fleet",
}
__getattr__ = on_demand(__name__, _HOMES)
