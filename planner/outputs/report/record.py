"""What the page's script works on: one array for each column of the assignments, hosts and hubs by position."""

from __future__ import annotations

import math
from typing import Any

from planner.outputs import cellsafe
from planner.outputs.facts import Facts, current_host, margin_ms
from planner.outputs.report.looks import look
from planner.outputs.report.places import Layout
from planner.plan import Assignment

Place = tuple[float, float] | tuple[None, None]
_NOWHERE: Place = (None, None)


def record(facts: Facts, layout: Layout) -> dict[str, Any]:
    """Return the record as plain JSON data.

    ``rows`` holds columns of equal length, one entry for each assignment in the order of the plan; ``host``,
    ``standby`` and ``hub`` in it are positions in ``hosts`` and ``hubs``, -1 for none. Unknown places are null.
    """
    hosts, hubs = _hosts(facts), _hubs(facts, layout)
    host_at = {host["host"]: number for number, host in enumerate(hosts)}
    hub_at = {hub["hub"]: number for number, hub in enumerate(hubs)}
    rows = [_row(facts, layout, host_at, hub_at, assignment) for assignment in facts.plan.assignments]
    columns = {name: [row[name] for row in rows] for name in _COLUMNS}
    for host in hosts:
        host["hub"] = hub_at.get(host["hub"], -1)
    return {"rows": columns, "hosts": hosts, "hubs": hubs, "unserved": _unserved(facts, layout)}


_COLUMNS = (
    *("site", "name", "region", "clusters", "hub", "host", "rtt", "budget", "margin"),
    *("evidence", "current", "action", "standby", "x", "y"),
)


def _row(
    facts: Facts, layout: Layout, host_at: dict[str, int], hub_at: dict[str, int], assignment: Assignment
) -> dict[str, Any]:
    x, y = _place(layout.sites.get(assignment.site))
    return {
        "site": assignment.site,
        "name": cellsafe.plain(facts.names.get(assignment.site)) or "",
        "region": cellsafe.plain(facts.regions.get(assignment.site)) or "",
        "clusters": assignment.clusters,
        "hub": hub_at[assignment.hub],
        "host": host_at[assignment.host],
        "rtt": number(assignment.rtt_ms),
        "budget": number(assignment.budget_ms),
        "margin": number(margin_ms(assignment)),
        "evidence": assignment.evidence,
        "current": current_host(facts, assignment),
        "action": assignment.action,
        "standby": host_at[assignment.standby] if assignment.standby else -1,
        "x": x,
        "y": y,
    }


def _hosts(facts: Facts) -> list[dict[str, Any]]:
    """Return the hosts of the plan, then those that only its assignments name: people edit plans."""
    # While another host is lost, one may carry more than max_blast_radius lets it carry every day.
    room = dict(zip(facts.fleet.pool_ids, facts.fleet.covering_caps.tolist(), strict=True))
    hosts: dict[str, dict[str, Any]] = {
        host.host: {
            "host": host.host,
            "hub": host.hub,
            "room": room.get(host.pool, host.usable),
            "clusters": host.clusters,
        }
        for host in facts.plan.host_list
    }
    for assignment in facts.plan.assignments:
        for name, hub in ((assignment.host, assignment.hub), (assignment.standby, None)):
            if name:
                hosts.setdefault(name, {"host": name, "hub": hub, "room": None, "clusters": 0})
    return [
        {**host, "colour": look(position)[0], "shape": look(position)[1]}
        for position, host in enumerate(hosts.values())
    ]


def _hubs(facts: Facts, layout: Layout) -> list[dict[str, Any]]:
    names = dict(zip(facts.fleet.pools["hub"], facts.fleet.pools["name"], strict=True))
    running = [host.hub for host in facts.plan.host_list]
    ids = dict.fromkeys((*facts.fleet.hub_ids, *running, *(a.hub for a in facts.plan.assignments)))
    hubs = []
    for hub in ids:
        x, y = _place(layout.hubs.get(hub))
        name = cellsafe.plain(names.get(hub)) or ""
        hubs.append({"hub": hub, "name": name, "x": x, "y": y, "hosts": running.count(hub)})
    return hubs


def _unserved(facts: Facts, layout: Layout) -> dict[str, list[Any]]:
    places = [(site.site, *_place(layout.sites.get(site.site))) for site in facts.plan.unserved]
    return {name: list(column) for name, column in zip(["site", "x", "y"], zip(*places, strict=True), strict=False)}


def _place(place: tuple[float, float] | None) -> Place:
    """Return a place to the metre, or to the hundredth of a ms where the map is schematic."""
    return _NOWHERE if place is None else (round(place[0], 2), round(place[1], 2))


def number(value: float) -> float | None:
    """Return ``value`` without binary dust, None where it is not finite."""
    return round(value, 6) if math.isfinite(value) else None
