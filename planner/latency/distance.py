"""Estimated round-trip times: distance on the ellipsoid, length of the cable route, delay in the fibre.

The estimate is propagation only: no queueing, no equipment beyond the repeaters in the 5 µs/km, no detour of the
provider beyond the planning factor. It is a planning figure with an error of tens of per cent, so measured and
modelled values always come first.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from planner.fleet import Bools, Fleet, Floats, Ints, positions
from planner.latency.figures import PairFigures

if TYPE_CHECKING:
    from pyproj import Geod

# One-way delay in optical fibre with repeaters: the planning value 5 µs per km of route (ITU-T G.114, quoted in
# ITU-T Y.1541, Appendix III; both known to us from secondary texts).
FIBRE_MS_PER_KM = 0.005
LONGEST_FACTOR = 1.5  # of a route, by the distance as the crow flies; see `route_km`
_LEAST_DEGREE_KM = 110.5
ACCESS_MS = 5.0  # round trip through access lines and equipment at most: our convention, no source


def distance_km(
    latitude_1: npt.ArrayLike, longitude_1: npt.ArrayLike, latitude_2: npt.ArrayLike, longitude_2: npt.ArrayLike
) -> Floats:
    """Return the geodesic distance in km between points given in degrees, WGS 84; NaN where a coordinate is NaN.

    The arguments broadcast against each other. Karney's method (J. Geodesy 87, 2013, 43-55), good to nanometres for
    any two points, nearly antipodal ones included.
    """
    latitude_1, longitude_1, latitude_2, longitude_2 = (
        np.array(degrees, dtype=np.float64)
        for degrees in np.broadcast_arrays(latitude_1, longitude_1, latitude_2, longitude_2)
    )
    shape = latitude_1.shape
    if np.isnan(latitude_1 + longitude_1 + latitude_2 + longitude_2).all():
        return np.full(shape, np.nan)
    _, _, metres = _wgs84().inv(longitude_1.ravel(), latitude_1.ravel(), longitude_2.ravel(), latitude_2.ravel())
    kilometres: Floats = np.asarray(metres, dtype=np.float64).reshape(shape) / 1000.0
    return kilometres


@cache
def _wgs84() -> Geod:
    from pyproj import Geod

    return Geod(ellps="WGS84")


def farther_than(km: float, latitude_1: Floats, longitude_1: Floats, latitude_2: Floats, longitude_2: Floats) -> Bools:
    """Return which points, arrays (N,) in degrees, are more than ``km`` apart; False where a coordinate is NaN.

    A degree of latitude is nowhere shorter than 110.57 km (WGS 84, at the equator), which settles nearly all.
    """
    far: Bools = np.abs(latitude_1 - latitude_2) * _LEAST_DEGREE_KM > km
    near = np.flatnonzero(~far & ~np.isnan(latitude_1 + longitude_1 + latitude_2 + longitude_2))
    if len(near):
        far[near] = distance_km(latitude_1[near], longitude_1[near], latitude_2[near], longitude_2[near]) > km
    far[np.isnan(longitude_1 + longitude_2)] = False
    return far


def route_km(distance_km: npt.ArrayLike) -> Floats:
    """Return the length of the cable route in km that planning assumes for a distance as the crow flies.

    1.5 times the distance below 1000 km, 1500 km up to 1200 km, 1.25 times the distance beyond (ITU-T Y.1541,
    Appendix III; the two lower branches are from memory of ITU-T G.826).
    """
    distance = np.asarray(distance_km, dtype=np.float64)
    route: Floats = np.maximum(np.minimum(LONGEST_FACTOR * distance, 1500.0), 1.25 * distance)
    return route


def estimated_rtt_ms(distance_km: npt.ArrayLike) -> Floats:
    """Return the round-trip time in ms that planning assumes for a distance: twice the fibre delay of its route."""
    return 2.0 * FIBRE_MS_PER_KM * route_km(distance_km)


def estimate_range_ms(rtt_ms: float) -> tuple[float, float]:
    """Return between which round-trip times in ms a measurement is to be expected where ``rtt_ms`` is estimated.

    The low end is fibre in a straight line, without the planning factor of up to 1.5 for its route; the high end is
    twice the estimate, for detours of the provider, and 5 ms for access lines and equipment. The high end is a
    convention of ours, no source; queues can add more.

    >>> estimate_range_ms(15.0)
    (10.0, 35.0)
    """
    return rtt_ms / LONGEST_FACTOR, 2.0 * rtt_ms + ACCESS_MS


def from_distance(fleet: Fleet, known: Ints) -> PairFigures:
    """Return an estimate for every pair whose key is not among ``known`` and whose two places have coordinates."""
    site_at = fleet.sites[["latitude", "longitude"]].to_numpy(dtype=np.float64)
    hub_at = hub_coordinates(fleet)
    wanted: Bools = np.logical_and.outer(~np.isnan(site_at).any(axis=1), ~np.isnan(hub_at).any(axis=1)).ravel()
    wanted[known] = False
    key = np.flatnonzero(wanted).astype(np.int64)
    site, hub = np.divmod(key, len(fleet.hub_ids))
    distance = distance_km(site_at[site, 0], site_at[site, 1], hub_at[hub, 0], hub_at[hub, 1])
    return PairFigures.of_rtt(key, estimated_rtt_ms(distance))


def hub_coordinates(fleet: Fleet) -> Floats:
    """Return latitude and longitude of each hub, shape (hubs, 2); NaN where unknown.

    They are those of the hub's first pool that has both.
    """
    at = np.full((len(fleet.hub_ids), 2), np.nan)
    located = fleet.pools[["hub", "latitude", "longitude"]].dropna().drop_duplicates("hub")
    at[positions(located["hub"], fleet.hub_ids)] = located[["latitude", "longitude"]].to_numpy(dtype=np.float64)
    return at
