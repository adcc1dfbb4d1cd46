"""The Pareto front of a sweep: the scenarios that no other one beats (V. Pareto, Manuale di economia politica, 1906).

A scenario is beaten by another that asks at least as much (its place is as tight or tighter, see `order`), leaves no
more weight unserved and no more sites without the standby they want, runs no more hosts and, where cost is the
objective, costs no more, and is better in one of these. So for every number of hosts the front shows the tightest
budget, the widest cover and the least cost that they buy.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from planner.scenarios.order import Place
from planner.scenarios.sweep_results import Point

_CLOSE = 1e-9


def with_front(points: Sequence[Point], at: Mapping[str, Place]) -> tuple[Point, ...]:
    """Return the points with ``front`` set; of equal ones all are on it."""
    return tuple(replace(p, front=p.figures is not None and not any(_beats(q, p, at) for q in points)) for p in points)


def _beats(a: Point, b: Point, at: Mapping[str, Place]) -> bool:
    if a is b or a.figures is None or b.figures is None:
        return False
    here, there = at[a.scenario.name], at[b.scenario.name]
    if not there.looser_than(here):
        return False
    pairs = [
        (a.figures.hosts, b.figures.hosts),
        (a.figures.unserved_weight, b.figures.unserved_weight),
        (a.figures.uncovered, b.figures.uncovered),
    ]
    if a.figures.objective == b.figures.objective == "cost":
        pairs.append((a.figures.value, b.figures.value))
    if any(x > y + _CLOSE for x, y in pairs):
        return False
    return not here.looser_than(there) or any(x < y - _CLOSE for x, y in pairs)
