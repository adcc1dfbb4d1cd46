"""Who serves whom in a plan, as look-ups."""

from __future__ import annotations

from collections import defaultdict

from planner.fleet import Fleet
from planner.plan import Assignment, Plan

_CLOSE = 1e-6  # sums of weights, and money


def hosts_of(plan: Plan) -> dict[str, tuple[str, ...]]:
    """Return the hosts of each site that is served, sorted; several where its clusters are split."""
    found: dict[str, set[str]] = defaultdict(set)
    for row in plan.assignments:
        found[row.site].add(row.host)
    return {site: tuple(sorted(hosts)) for site, hosts in found.items()}


def rows_of(plan: Plan) -> dict[str, list[Assignment]]:
    """Return the assignments of each site, by host."""
    found: dict[str, list[Assignment]] = defaultdict(list)
    for row in sorted(plan.assignments, key=lambda row: row.host):
        found[row.site].append(row)
    return dict(found)


def first_aims(fleet: Fleet, plan: Plan) -> tuple[float, ...]:
    """Return what counts before the later aims: weight without a host, weight without a standby, the objective."""
    weight = dict(zip(fleet.site_ids, fleet.weights.tolist(), strict=True))
    left, bare = (sum(weight.get(row.site, 1.0) for row in rows) for rows in (plan.unserved, plan.uncovered))
    return left, bare, plan.objective_value


def compared(one: tuple[float, ...], other: tuple[float, ...]) -> int:
    """Return -1 where the first of two plans is better by its `first_aims`, 1 where it is worse, else 0.

    >>> compared((0, 2, 11), (0, 2.0000001, 10))
    1
    """
    apart = next((a - b for a, b in zip(one, other, strict=True) if abs(a - b) > _CLOSE), 0.0)
    return (apart > 0) - (apart < 0)
