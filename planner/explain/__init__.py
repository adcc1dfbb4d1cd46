"""Why a plan is as it is, and what would help most: reads a Fleet and a Plan, and plans changed fleets to be sure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.on_demand import on_demand

if TYPE_CHECKING:
    from planner.explain.budget_curve import BudgetPoint, budget_curve
    from planner.explain.cover_prices import cover_prices
    from planner.explain.explain_plan import explain
    from planner.explain.explanation import (
        BindingSet,
        Change,
        Explanation,
        PlanMeasures,
        PoolView,
        SiteView,
        Suggestion,
    )
    from planner.explain.measure import pairs_to_measure

__all__ = [
    "BindingSet",
    "BudgetPoint",
    "Change",
    "Explanation",
    "PlanMeasures",
    "PoolView",
    "SiteView",
    "Suggestion",
    "budget_curve",
    "cover_prices",
    "explain",
    "pairs_to_measure",
]

_HOMES = {
    "BindingSet": "explanation",
    "BudgetPoint": "budget_curve",
    "Change": "explanation",
    "Explanation": "explanation",
    "PlanMeasures": "explanation",
    "PoolView": "explanation",
    "SiteView": "explanation",
    "Suggestion": "explanation",
    "budget_curve": "budget_curve",
    "cover_prices": "cover_prices",
    "explain": "explain_plan",
    "pairs_to_measure": "measure",
}
__getattr__ = on_demand(__name__, _HOMES)
