"""Where the map draws each site and hub: Web Mercator where coordinates are known, else a schematic layout."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from planner.fleet import Fleet, Floats
from planner.outputs.report.schematic import Places, schematic_places
from planner.plan import Plan

_RADIUS_M = 6_378_137.0  # of the sphere of Web Mercator, EPSG:3857
MOST_LATITUDE = 85.0  # Mercator has no poles


@dataclass(frozen=True, slots=True)
class Layout:
    """Places of sites and hubs by id: Web Mercator metres, or ms where ``schematic``. Who has no place is left out.

    ``centre`` is the longitude in degrees that the map is centred on.
    """

    sites: Places
    hubs: Places
    schematic: bool
    centre: float = 0.0


def lay_out(fleet: Fleet, plan: Plan) -> Layout:
    """Return the places of all sites and hubs: from coordinates where most sites and most hubs have them."""
    if not (_mostly_located(fleet.sites) and _mostly_located(fleet.pools)):
        return Layout(*schematic_places(fleet, plan), schematic=True)
    longitudes = np.radians(pd.concat([fleet.sites["longitude"], fleet.pools["longitude"]]).dropna().to_numpy())
    # The mean direction, so that a fleet on both sides of the date line stays together.
    centre = float(np.degrees(np.arctan2(np.sin(longitudes).mean(), np.cos(longitudes).mean())))
    return Layout(_places(fleet.sites, "site", centre), _places(fleet.pools, "hub", centre), False, centre)


def mercator(longitude: Floats, latitude: Floats) -> tuple[Floats, Floats]:
    """Return x and y in metres of Web Mercator (EPSG:3857; Snyder 1987, equations 7-1 and 7-2, on a sphere).

    Longitudes beyond 180 degrees go on and do not wrap; latitudes are cut at 85 degrees.
    """
    phi = np.radians(np.clip(latitude, -MOST_LATITUDE, MOST_LATITUDE))
    return _RADIUS_M * np.radians(longitude), _RADIUS_M * np.arcsinh(np.tan(phi))


def _mostly_located(table: pd.DataFrame) -> bool:
    return len(table) > 0 and bool(table[["latitude", "longitude"]].notna().all(axis=1).mean() > 0.5)


def _places(table: pd.DataFrame, key: str, centre: float) -> Places:
    located = table[[key, "latitude", "longitude"]].dropna().drop_duplicates(key)
    longitude = located["longitude"].to_numpy(dtype=np.float64)
    longitude = (longitude - centre + 180.0) % 360.0 - 180.0 + centre
    x, y = mercator(longitude, located["latitude"].to_numpy(dtype=np.float64))
    return dict(zip(located[key], zip(x.tolist(), y.tolist(), strict=True), strict=True))
