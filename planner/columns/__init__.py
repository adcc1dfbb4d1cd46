"""The one table of every input column and setting.

Intake, checks, the empty template and the manual are derived from it: to add a column,
add a row here and read it where it matters.
"""

from planner.columns.dates import CHANGES, FREEZES, PRICES
from planner.columns.kinds import Column, Kind, Sheet
from planner.columns.paths import CURRENT, LATENCY, LINKS, SAMPLES
from planner.columns.places import HUBS, SITES
from planner.columns.settings import POLICY, SETTINGS

__all__ = [
    "CHANGES",
    "CURRENT",
    "FREEZES",
    "HUBS",
    "LATENCY",
    "LINKS",
    "POLICY",
    "PRICES",
    "SAMPLES",
    "SETTINGS",
    "SHEETS",
    "SITES",
    "Column",
    "Kind",
    "Sheet",
]

SHEETS = (SITES, HUBS, LATENCY, SAMPLES, LINKS, CURRENT, FREEZES, CHANGES, PRICES, POLICY)
