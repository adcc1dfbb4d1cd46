"""Random sites and hubs on an invented map, and the round-trip times between them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

REGIONS = ("North-west", "North", "North-east", "South-west", "South", "South-east")

_SOUTH, _NORTH, _WEST, _EAST = 42.0, 60.0, 0.0, 32.0  # degrees; a rectangle of about 2,000 by 2,200 km
_EARTH_KM = 6371.0
_ROUND_TRIP_MS_PER_KM = 0.017  # 5 µs/km in fibre, both ways, routes 1.7 times the straight line
_CARRIERS = 5


class Places(NamedTuple):
    """Coordinates in degrees and the number of the town, each of shape (places,)."""

    latitude: Floats
    longitude: Floats
    town: Ints


class Pairs(NamedTuple):
    """Site-hub pairs, nearest hub first; each array of shape (sites, hubs known to a site)."""

    hub: Ints
    km: Floats
    rtt_ms: Floats
    allowed: Bools  # by every rule but the latency budget


def draw_places(rng: np.random.Generator, sites: int, hubs: int) -> tuple[int, Places, Places]:
    """Return the number of towns, sites scattered round towns of very different size, and hubs in the larger towns."""
    count = max(hubs, sites // 12, 12)
    latitude, longitude = rng.uniform(_SOUTH, _NORTH, count), rng.uniform(_WEST, _EAST, count)
    size = 1.0 / np.arange(1, count + 1) ** 0.8
    town = rng.choice(count, sites, p=size / size.sum())
    spread = np.where(rng.random(sites) < 0.2, 0.6, 0.06)  # degrees; one site in five is in the country
    scattered = Places(
        np.round(latitude[town] + spread * rng.standard_normal(sites), 4),
        np.round(longitude[town] + spread * rng.standard_normal(sites), 4),
        town.astype(np.int64),
    )
    hub_town = np.sort(rng.permutation(max(hubs, count // 2))[:hubs]).astype(np.int64)
    return count, scattered, Places(np.round(latitude[hub_town], 2), np.round(longitude[hub_town], 2), hub_town)


def region_positions(places: Places) -> Ints:
    """Return for each place its position in `REGIONS`: a grid of two rows and three columns."""
    row = places.latitude < (_SOUTH + _NORTH) / 2
    column = np.clip((places.longitude - _WEST) / (_EAST - _WEST) * 3, 0, 2).astype(np.int64)
    return row * 3 + column


def draw_pairs(rng: np.random.Generator, sites: Places, hubs: Places, known: int) -> Pairs:
    """Return the ``known`` nearest hubs of each site and their round-trip times, in tenths of a ms.

    Distance with jitter, a delay of the site's own line, and for three in ten (carrier, hub) combinations a detour
    through a far exchange: detours are what breaks the triangle inequality.
    """
    chord, hub = cKDTree(_unit_vectors(hubs)).query(_unit_vectors(sites), k=np.arange(1, known + 1))
    km = 2 * _EARTH_KM * np.arcsin(np.minimum(chord / 2, 1.0))
    line_ms = np.clip(np.exp(1.9 + 0.5 * rng.standard_normal(len(km))), 1.0, 20.0)
    carrier = rng.integers(0, _CARRIERS, len(km))
    combinations = (_CARRIERS, len(hubs.town))
    detour_ms = np.where(rng.random(combinations) < 0.3, rng.uniform(6, 30, combinations), 0.0)
    jitter = 1.0 + 0.15 * np.abs(rng.standard_normal(km.shape))
    rtt_ms = line_ms[:, None] + _ROUND_TRIP_MS_PER_KM * km * jitter + detour_ms[carrier[:, None], hub] + 0.4
    return Pairs(hub.astype(np.int64), km, np.round(rtt_ms, 1), np.ones(km.shape, dtype=np.bool_))


def _unit_vectors(places: Places) -> Floats:
    latitude, longitude = np.radians(places.latitude), np.radians(places.longitude)
    return np.column_stack(
        (np.cos(latitude) * np.cos(longitude), np.cos(latitude) * np.sin(longitude), np.sin(latitude))
    )
