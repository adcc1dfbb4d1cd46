"""Who serves whom in a plan, as look-ups."""

from __future__ import annotations

from collections import defaultdict

from planner.plan import Assignment, Plan


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
