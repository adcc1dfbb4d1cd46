"""Two kept answers side by side: which sites differ, which hubs, and how far."""

from __future__ import annotations

from collections import Counter
from typing import Any

from planner.fleet import Fleet
from planner.plan import Plan

_MOST = 500
Answer = tuple[Fleet, Plan]


def differences(first: Answer, second: Answer) -> dict[str, Any]:
    """Return what differs between two plans: hosts at each hub, sites by what became of them, the sites themselves."""
    (_, before), (fleet, after) = first, second
    homes = [{row.site: row.host for row in plan.assignments} for plan in (before, after)]
    hubs = [{row.site: row.hub for row in plan.assignments} for plan in (before, after)]
    sites = dict.fromkeys((*homes[0], *homes[1]))
    rows = [
        {"site": site, "first": homes[0].get(site, ""), "second": homes[1].get(site, "")}
        for site in sites
        if homes[0].get(site) != homes[1].get(site)
    ]
    elsewhere = sum(hubs[0].get(s) != hubs[1].get(s) for s in sites if s in hubs[0] and s in hubs[1])
    hub_at = {hub: at for at, hub in enumerate(fleet.hub_ids)}
    return {
        "hubs": _hosts_by_hub(before, after),
        "changed": len(rows),
        "other_hub": elsewhere,
        "only_first": sum(s not in homes[1] for s in homes[0]),
        "only_second": sum(s not in homes[0] for s in homes[1]),
        "rows": rows[:_MOST],
        "map": {
            "changed": [hubs[0].get(s) != hubs[1].get(s) for s in fleet.site_ids],
            "sites": [hub_at.get(hubs[1].get(s, ""), -1) for s in fleet.site_ids],
        },
    }


def _hosts_by_hub(before: Plan, after: Plan) -> list[dict[str, Any]]:
    counts = [Counter(host.hub for host in plan.host_list) for plan in (before, after)]
    return [{"hub": hub, "first": counts[0][hub], "second": counts[1][hub]} for hub in sorted({*counts[0], *counts[1]})]
