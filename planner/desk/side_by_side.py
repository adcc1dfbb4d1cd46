"""Two kept answers side by side: what differs and why, as `planner.compare` finds it, and where on the map."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

from planner.differences import compare
from planner.fleet import Fleet
from planner.plan import Plan

_MOST = 500
_SECONDS = 4.0  # for plans in between, which find causes that the fleets do not show
Answer = tuple[Fleet, Plan]


def side_by_side(
    first: Answer, second: Answer, names: tuple[str, str], tell: Callable[[str], None] | None = None
) -> dict[str, Any]:
    """Return what differs between two answers: in words, in figures, at sites and hosts with causes, and on the map."""
    found = compare(first, second, names=names, time_limit=_SECONDS, tell=tell)
    return {
        "headline": found.headline,
        "words": list(found.words),
        "notes": list(found.notes),
        "figures": [{"name": one.label, "first": one.old_text, "second": one.new_text} for one in found.figures],
        "hosts": [[one.host, one.what, one.from_to, one.why or one.cause_in_words] for one in found.hosts[:_MOST]],
        "sites": [[one.site, one.what, one.from_to, one.why or one.cause_in_words] for one in found.sites[:_MOST]],
        "sites_number": len(found.sites),
        "hubs": _hosts_by_hub(first[1], second[1]),
        "map": _on_map(first, second),
    }


def _hosts_by_hub(before: Plan, after: Plan) -> list[dict[str, Any]]:
    counts = [Counter(host.hub for host in plan.host_list) for plan in (before, after)]
    return [{"hub": hub, "first": counts[0][hub], "second": counts[1][hub]} for hub in sorted({*counts[0], *counts[1]})]


def _on_map(first: Answer, second: Answer) -> dict[str, Any]:
    """Return for each site of the second fleet its hub in the second plan, and whether the first has another."""
    fleet = second[0]
    hubs = [{row.site: row.hub for row in plan.assignments} for _, plan in (first, second)]
    hub_at = {hub: at for at, hub in enumerate(fleet.hub_ids)}
    return {
        "changed": [hubs[0].get(site) != hubs[1].get(site) for site in fleet.site_ids],
        "sites": [hub_at.get(hubs[1].get(site, ""), -1) for site in fleet.site_ids],
    }
