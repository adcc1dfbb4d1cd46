"""The figures of two plans side by side."""

from __future__ import annotations

import math
from collections.abc import Callable

from planner.differences.difference import Figure
from planner.differences.sides import Sides
from planner.fleet import Fleet
from planner.plan import Plan


def figures(sides: Sides) -> tuple[Figure, ...]:
    """Return hosts, sites, moves, margins, cover and cost of both plans; money only where prices are known."""
    asked: list[tuple[str, str, Callable[[Plan, Fleet | None], float | None]]] = [
        ("tie-breaker hosts", "", lambda plan, _: plan.hosts),
        ("fewest hosts needed (proven)", "", lambda plan, _: plan.lower_bound if _counts(plan) else None),
        ("of them new", "", lambda plan, _: sum(not host.existing for host in plan.host_list)),
        ("sites served", "", lambda plan, _: len({row.site for row in plan.assignments})),
        ("sites unserved", "", lambda plan, _: len(plan.unserved)),
        ("sites that need no host", "", lambda plan, _: len(plan.no_host_needed)),
        ("clusters served", "", lambda plan, _: sum(row.clusters for row in plan.assignments)),
        ("moves from today's hosts", "", lambda plan, _: _moves(plan)),
        ("sites without a standby", "", lambda plan, _: _bare(plan)),
        (
            "smallest latency margin",
            "ms",
            lambda plan, _: _least(plan),
        ),
        ("mean RTT", "ms", lambda plan, _: _mean(plan)),
        ("hosts, a year", "money", _cost),
        ("objective", "money", lambda plan, _: plan.objective_value if plan.objective == "cost" else None),
    ]
    found = []
    for name, unit, of in asked:
        old, new = of(sides.old, sides.old_fleet), of(sides.new, sides.new_fleet)
        if old is not None or new is not None:
            found.append(Figure(name, _rounded(old), _rounded(new), unit))
    return tuple(found)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(float(value), 6)


def _counts(plan: Plan) -> bool:
    return plan.objective == "hosts" and plan.lower_bound > 0


def _moves(plan: Plan) -> int:
    return len({row.site for row in plan.assignments if row.action == "move"})


def _bare(plan: Plan) -> int | None:
    return None if plan.policy.get("cover", "none") == "none" else len(plan.uncovered)


def _least(plan: Plan) -> float | None:
    return min((row.margin_ms for row in plan.assignments), default=None)


def _mean(plan: Plan) -> float | None:
    return sum(row.rtt_ms for row in plan.assignments) / len(plan.assignments) if plan.assignments else None


def _cost(plan: Plan, fleet: Fleet | None) -> float | None:
    """Return what the hosts of a plan cost a year; None where a price is not known."""
    if fleet is None:
        return None
    prices = dict(zip(fleet.pool_ids, fleet.host_costs.tolist(), strict=True))
    total = sum(prices.get(host.pool, math.nan) for host in plan.host_list)
    return None if math.isnan(total) or not plan.host_list else total
