"""How many hosts other latency budgets would take."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from planner.fleet import Fleet
from planner.plan import Plan
from planner.sizing import SolveBudget, count

# In the order of planning: what is near today's budgets first, as time may end.
SHARES = (0.9, 1.1, 0.8, 1.25, 0.7, 1.5, 0.6, 2.0, 0.5)


@dataclass(frozen=True, slots=True)
class BudgetPoint:
    """A plan with every latency budget times ``share``: its hosts, their lower bound, its unserved sites.

    ``uncovered`` are the sites served without a standby where cover is asked for: fewer of them may take more hosts.

    ``proven``: no plan serves more weight, covers more where that is asked for, nor does with fewer hosts.
    """

    share: float
    hosts: int
    lower_bound: float
    unserved: int
    proven: bool
    uncovered: int = 0


def budget_curve(
    fleet: Fleet,
    plan: Plan | None = None,
    *,
    time_limit: float | None = 20.0,
    seed: int = 0,
    tell: Callable[[float], None] | None = None,
) -> tuple[BudgetPoint, ...]:
    """Return the fewest hosts for latency budgets of half to twice today's, in order of the budgets.

    Each point is the count of the fleet whose every budget is multiplied by the same share; it serves the greatest
    weight first and then has few hosts, whatever objective the policy names. ``plan``, where it is one of the fewest
    hosts, is taken for today's budgets. ``time_limit`` in seconds is for all points: at the limit, or at Ctrl-C, the
    points so far come back, the last one perhaps not proven. ``tell`` is called with each share before it is planned.
    """
    budget = SolveBudget(seconds=time_limit, seed=seed)
    points = []
    with budget.listening():
        if plan is not None and plan.objective == "hosts":
            points.append(_point(1.0, plan))
        for share in SHARES if points else (1.0, *SHARES):
            if budget.spent:
                break
            if tell is not None:
                tell(share)
            points.append(_counted(share, _with_budgets(fleet, share), budget))
    return tuple(sorted(points, key=lambda point: point.share))


def _point(share: float, plan: Plan) -> BudgetPoint:
    return BudgetPoint(
        share, plan.hosts, plan.lower_bound, len(plan.unserved), plan.proves(plan.objective), len(plan.uncovered)
    )


def _counted(share: float, fleet: Fleet, budget: SolveBudget) -> BudgetPoint:
    found = count(fleet, time_limit=budget.left, seed=budget.seed, watch=lambda _: not budget.stopped.is_set())
    return BudgetPoint(share, found.hosts, found.lower_bound, found.unserved, found.proven, found.uncovered)


def _with_budgets(fleet: Fleet, share: float) -> Fleet:
    """Return ``fleet`` with every latency budget times ``share``, and nothing asked beyond the fewest hosts."""
    budget = fleet.policy.latency_budget_ms
    policy = fleet.policy.replace(
        latency_budget_ms=None if budget is None else share * budget, objective="hosts", then=""
    )
    sites = fleet.sites.assign(latency_budget_ms=share * fleet.sites["latency_budget_ms"])
    return fleet.replace(sites=sites, policy=policy)
