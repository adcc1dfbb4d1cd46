"""castingvote plans tie-breaker hosts for fleets of two-node clusters.

>>> import planner
>>> fleet = planner.read_fleet("fleet.xlsx")  # doctest: +SKIP
>>> result = planner.plan(fleet)  # doctest: +SKIP
>>> planner.write_workbook(fleet, result, "plan.xlsx")  # doctest: +SKIP
"""

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
from planner.resilience import Availability, DrillReport, availability, drill
from planner.rollout import roll_out
from planner.schedule import Rollout, Step, Wave
from planner.sizing import Progress, plan
from planner.verify import Violation, verify
from planner.version import VERSION as __version__

__all__ = [
    "Assignment",
    "Availability",
    "BudgetPoint",
    "CastingvoteError",
    "DrillReport",
    "Explanation",
    "Finding",
    "Fleet",
    "Host",
    "InputError",
    "Plan",
    "Policy",
    "Progress",
    "Readiness",
    "Rollout",
    "SolverError",
    "Step",
    "Violation",
    "Wave",
    "__version__",
    "audit",
    "availability",
    "budget_curve",
    "cover_prices",
    "drill",
    "explain",
    "fleet_from_tables",
    "plan",
    "read_fleet",
    "read_plan",
    "roll_out",
    "verify",
    "write_csv",
    "write_geojson",
    "write_json",
    "write_markdown",
    "write_report",
    "write_template",
    "write_workbook",
]
