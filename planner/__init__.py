"""castingvote plans tie-breaker hosts for fleets of two-node clusters.

>>> import planner
>>> fleet = planner.read_fleet("fleet.xlsx")  # doctest: +SKIP
>>> result = planner.plan(fleet)  # doctest: +SKIP
>>> planner.write_workbook(fleet, result, "plan.xlsx")  # doctest: +SKIP
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from planner.errors import CastingvoteError, InputError, SolverError
from planner.explain import BudgetPoint, Explanation, budget_curve, cover_prices, explain
from planner.fleet import Finding, Fleet, Policy
from planner.intake import fleet_from_tables, read_fleet
from planner.outputs import (
    read_plan,
    write_csv,
    write_geojson,
    write_json,
    write_markdown,
    write_report,
    write_template,
    write_workbook,
)
from planner.plan import Assignment, Host, Plan
from planner.readiness import Readiness, audit
from planner.replan import replan
from planner.resilience import Availability, DrillReport, availability, drill
from planner.rollout import roll_out
from planner.schedule import Rollout, Step, Wave
from planner.sizing import Progress, plan
from planner.verify import Violation, verify
from planner.version import VERSION as __version__

if TYPE_CHECKING:
    from planner.scenarios.designs.nouns import Comparison
    from planner.scenarios.designs.road import compare_designs
    from planner.scenarios.horizon.nouns import Horizon
    from planner.scenarios.horizon.road import horizon
    from planner.scenarios.nouns import Scenario, Sweep
    from planner.scenarios.sweeping import sweep
    from planner.scenarios.vary import vary

__all__ = [
    "Assignment",
    "Availability",
    "BudgetPoint",
    "CastingvoteError",
    "Comparison",
    "DrillReport",
    "Explanation",
    "Finding",
    "Fleet",
    "Horizon",
    "Host",
    "InputError",
    "Plan",
    "Policy",
    "Progress",
    "Readiness",
    "Rollout",
    "Scenario",
    "SolverError",
    "Step",
    "Sweep",
    "Violation",
    "Wave",
    "__version__",
    "audit",
    "availability",
    "budget_curve",
    "compare_designs",
    "cover_prices",
    "drill",
    "explain",
    "fleet_from_tables",
    "horizon",
    "plan",
    "read_fleet",
    "read_plan",
    "replan",
    "roll_out",
    "sweep",
    "vary",
    "verify",
    "write_csv",
    "write_geojson",
    "write_json",
    "write_markdown",
    "write_report",
    "write_template",
    "write_workbook",
]

# Loaded when first asked for: importing scenarios takes half a second, and few programs need them.
_SCENARIOS = {
    "Comparison": "designs.nouns",
    "Horizon": "horizon.nouns",
    "Scenario": "nouns",
    "Sweep": "nouns",
    "compare_designs": "designs.road",
    "horizon": "horizon.road",
    "sweep": "sweeping",
    "vary": "vary",
}


def __getattr__(name: str) -> Any:
    if name not in _SCENARIOS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"planner.scenarios.{_SCENARIOS[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *_SCENARIOS})
