"""castingvote plans tie-breaker hosts for fleets of two-node clusters.

>>> import planner
>>> fleet = planner.read_fleet("fleet.xlsx")  # doctest: +SKIP
>>> result = planner.plan(fleet)  # doctest: +SKIP
>>> planner.write_workbook(fleet, result, "plan.xlsx")  # doctest: +SKIP
"""

from __future__ import annotations

import sys

from planner.version import VERSION as __version__

TYPE_CHECKING = False  # so that typing is not loaded: until the way in is reached, Ctrl-C is Python's to answer
if TYPE_CHECKING:
    from typing import Any

    from planner.certificate import write_certificate
    from planner.differences import Difference, compare
    from planner.documents import (
        read_availability,
        read_designs,
        read_difference,
        read_drill,
        read_horizon,
        read_rollout,
        read_sweep,
        write_json,
    )
    from planner.documents.schema import schema
    from planner.errors import CastingvoteError, InputError, SolverError
    from planner.explain import BudgetPoint, Explanation, explain
    from planner.explain.budget_curve import budget_curve
    from planner.explain.cover_prices import cover_prices
    from planner.fleet import Finding, Fleet, Policy
    from planner.intake import fleet_from_tables, read_fleet
    from planner.outputs import (
        write_csv,
        write_geojson,
        write_markdown,
        write_report,
        write_template,
        write_workbook,
    )
    from planner.outputs.read_plan import read_plan
    from planner.own import OwnAim, OwnRule, OwnSource, installed
    from planner.plan import Assignment, Host, Plan
    from planner.readiness import Readiness
    from planner.readiness.audit import audit
    from planner.resilience import Availability, DrillReport, availability, drill
    from planner.rollout import roll_out
    from planner.scenarios.designs.compare_designs import compare_designs
    from planner.scenarios.designs.design_comparison import Comparison
    from planner.scenarios.horizon.horizon_steps import Horizon
    from planner.scenarios.horizon.plan_horizon import horizon
    from planner.scenarios.sweep_results import Scenario, Sweep
    from planner.scenarios.sweeping import sweep
    from planner.scenarios.vary import vary
    from planner.schedule import Rollout, Step, Wave
    from planner.sizing import HostCount, Progress, count, plan
    from planner.verify import Violation, verify
    from planner.verify.certificate import verify_certificate
    from planner.watching import show_progress

__all__ = [
    "Assignment",
    "Availability",
    "BudgetPoint",
    "CastingvoteError",
    "Comparison",
    "Difference",
    "DrillReport",
    "Explanation",
    "Finding",
    "Fleet",
    "Horizon",
    "Host",
    "HostCount",
    "InputError",
    "OwnAim",
    "OwnRule",
    "OwnSource",
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
    "compare",
    "compare_designs",
    "count",
    "cover_prices",
    "drill",
    "explain",
    "fleet_from_tables",
    "horizon",
    "installed",
    "plan",
    "read_availability",
    "read_designs",
    "read_difference",
    "read_drill",
    "read_fleet",
    "read_horizon",
    "read_plan",
    "read_rollout",
    "read_sweep",
    "roll_out",
    "schema",
    "show_progress",
    "sweep",
    "vary",
    "verify",
    "verify_certificate",
    "write_certificate",
    "write_csv",
    "write_geojson",
    "write_json",
    "write_markdown",
    "write_report",
    "write_template",
    "write_workbook",
]

# Loaded when first asked for: a command that only shows its help waits for none of them.
_HOMES = {
    "Assignment": "plan",
    "Availability": "resilience",
    "BudgetPoint": "explain",
    "CastingvoteError": "errors",
    "Comparison": "scenarios.designs.design_comparison",
    "Difference": "differences",
    "DrillReport": "resilience",
    "Explanation": "explain",
    "Finding": "fleet",
    "Fleet": "fleet",
    "Horizon": "scenarios.horizon.horizon_steps",
    "Host": "plan",
    "HostCount": "sizing",
    "InputError": "errors",
    "OwnAim": "own",
    "OwnRule": "own",
    "OwnSource": "own",
    "Plan": "plan",
    "Policy": "fleet",
    "Progress": "sizing",
    "Readiness": "readiness",
    "Rollout": "schedule",
    "Scenario": "scenarios.sweep_results",
    "SolverError": "errors",
    "Step": "schedule",
    "Sweep": "scenarios.sweep_results",
    "Violation": "verify",
    "Wave": "schedule",
    "audit": "readiness",
    "availability": "resilience",
    "budget_curve": "explain",
    "compare": "differences",
    "compare_designs": "scenarios.designs.compare_designs",
    "count": "sizing",
    "cover_prices": "explain",
    "drill": "resilience",
    "explain": "explain",
    "fleet_from_tables": "intake",
    "horizon": "scenarios.horizon.plan_horizon",
    "installed": "own",
    "plan": "sizing",
    "read_availability": "documents",
    "read_designs": "documents",
    "read_difference": "documents",
    "read_drill": "documents",
    "read_fleet": "intake",
    "read_horizon": "documents",
    "read_plan": "outputs",
    "read_rollout": "documents",
    "read_sweep": "documents",
    "roll_out": "rollout",
    "schema": "documents.schema",
    "show_progress": "watching",
    "sweep": "scenarios.sweeping",
    "vary": "scenarios.vary",
    "verify": "verify",
    "verify_certificate": "verify.certificate",
    "write_certificate": "certificate",
    "write_csv": "outputs",
    "write_geojson": "outputs",
    "write_json": "documents",
    "write_markdown": "outputs",
    "write_report": "outputs",
    "write_template": "outputs",
    "write_workbook": "outputs",
}


class _Package(type(sys)):  # type: ignore[misc]  # a module
    """This package; names such as `plan` stay those of functions when the modules of the same name are loaded."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name in _HOMES and isinstance(value, type(sys)):
            return
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    found = getattr(import_module(f"planner.{_HOMES[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
