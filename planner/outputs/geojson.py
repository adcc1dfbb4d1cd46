"""Sites, hubs and assignments as GeoJSON (RFC 7946), for any program that draws maps."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator
from typing import Any

from planner.fleet import Fleet
from planner.outputs import cellsafe
from planner.outputs.atomic import write_text
from planner.outputs.facts import Facts, how_served
from planner.plan import Assignment, Plan

Position = list[float]


def write_geojson(fleet: Fleet, plan: Plan, path: str | os.PathLike[str]) -> None:
    """Write what `plan_to_geojson` returns; raises InputError when ``path`` cannot be written."""
    write_text(path, plan_to_geojson(fleet, plan))


def plan_to_geojson(fleet: Fleet, plan: Plan) -> str:
    """Return one FeatureCollection; each feature's property ``kind`` is ``site``, ``hub`` or ``assignment``.

    Sites and hubs are points, assignments lines from site to hub with RTT, budget and margin in ms. What has no
    coordinates has a null geometry.
    """
    facts = Facts(fleet, plan)
    features = [*_sites(facts), *_hubs(facts), *_assignments(facts)]
    data = {"type": "FeatureCollection", "features": features}
    return json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _sites(facts: Facts) -> Iterator[dict[str, Any]]:
    fleet = facts.fleet
    today = {site.site: site.current for site in facts.plan.unserved}
    states = {
        **{site.site: site.why for site in facts.plan.no_host_needed},
        **{assignment.site: "served" for assignment in facts.plan.assignments},
        **{site.site: "unserved" for site in facts.plan.unserved},
    }
    columns = zip(fleet.sites["site"], fleet.sites["name"], fleet.sites["region"], fleet.clusters.tolist(), strict=True)
    places = _places(facts.fleet, "site")
    for site, name, region, clusters in columns:
        properties = {"site": site, "name": name, "region": region, "clusters": clusters}
        properties |= {"state": states.get(site), "current": today.get(site)}
        yield _feature("site", _point(places.get(site)), properties)


def _hubs(facts: Facts) -> Iterator[dict[str, Any]]:
    names = dict(zip(facts.fleet.pools["hub"], facts.fleet.pools["name"], strict=True))
    places = _places(facts.fleet, "hub")
    for hub in facts.fleet.hub_ids:
        hosts = [host for host in facts.plan.host_list if host.hub == hub]
        clusters = sum(host.clusters for host in hosts)
        listed = [host.host for host in hosts]
        yield _feature(
            "hub", _point(places.get(hub)), {"hub": hub, "name": names[hub], "hosts": listed, "clusters": clusters}
        )


def _assignments(facts: Facts) -> Iterator[dict[str, Any]]:
    sites, hubs = _places(facts.fleet, "site"), _places(facts.fleet, "hub")
    for assignment in facts.plan.assignments:
        line = _line(sites.get(assignment.site), hubs.get(assignment.hub))
        yield _feature("assignment", line, _properties(facts, assignment))


def _properties(facts: Facts, assignment: Assignment) -> dict[str, Any]:
    return {
        "site": assignment.site,
        "host": assignment.host,
        "hub": assignment.hub,
        "clusters": assignment.clusters,
        **how_served(facts, assignment),
    }


def _feature(kind: str, geometry: dict[str, Any] | None, properties: dict[str, Any]) -> dict[str, Any]:
    plain = {
        name: value if isinstance(value, list) else cellsafe.plain(value) if value != "" else None
        for name, value in properties.items()
    }
    return {"type": "Feature", "geometry": geometry, "properties": {"kind": kind, **plain}}


def _places(fleet: Fleet, key: str) -> dict[str, Position]:
    table = fleet.sites if key == "site" else fleet.pools
    places: dict[str, Position] = {}
    for place, longitude, latitude in zip(table[key], table["longitude"], table["latitude"], strict=True):
        if math.isfinite(longitude) and math.isfinite(latitude):
            places.setdefault(place, [float(longitude), float(latitude)])
    return places


def _point(place: Position | None) -> dict[str, Any] | None:
    return None if place is None else {"type": "Point", "coordinates": place}


def _line(start: Position | None, end: Position | None) -> dict[str, Any] | None:
    """Return the line, cut in two where the short way crosses the antimeridian (RFC 7946, section 3.1.9)."""
    if start is None or end is None:
        return None
    if abs(start[0] - end[0]) <= 180.0:
        return {"type": "LineString", "coordinates": [start, end]}
    edge = math.copysign(180.0, start[0])
    beyond = end[0] + 2 * edge
    share = 0.0 if beyond == start[0] else (edge - start[0]) / (beyond - start[0])
    crossing = start[1] + share * (end[1] - start[1])
    return {"type": "MultiLineString", "coordinates": [[start, [edge, crossing]], [[-edge, crossing], end]]}
