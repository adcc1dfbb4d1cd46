"""Why a plan is as it is, and what would help most: reads a Fleet and a Plan, and plans changed fleets to be sure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.on_demand import on_demand

if TYPE_CHECKING:
    from planner.explain.budget_curve import BudgetPoint, budget_curve
    from planner.explain.cover_prices import cover_prices
    from planner.explain.nouns import BindingSet, Change, Explanation, Figures, PoolView, SiteView, Suggestion
    from planner.explain.road import explain, pairs_to_measure

__all__ = [
    "BindingSet",
    "BudgetPoint",
    "Change",
    "Explanation",
    "Figures",
    "PoolView",
    "SiteView",
    "Suggestion",
    "budget_curve",
    "cover_prices",
    "explain",
    "pairs_to_measure",
]

_HOMES = {
    "BindingSet": "nouns",
    "BudgetPoint": "budget_curve",
    "Change": "nouns",
    "Explanation": "nouns",
    "Figures": "nouns",
    "PoolView": "nouns",
    "SiteView": "nouns",
    "Suggestion": "nouns",
    "budget_curve": "budget_curve",
    "cover_prices": "cover_prices",
    "explain": "road",
    "pairs_to_measure": "road",
}
__getattr__ = on_demand(__name__, _HOMES)
