"""Distances, and the estimate that the policy may allow where nothing is known."""

import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.latency import distance_km, farther_than, resolve
from planner.latency.distance import estimated_rtt_ms, route_km

_LATITUDES, _LONGITUDES = st.floats(-90, 90), st.floats(-180, 180)


@given(_LATITUDES, _LONGITUDES, _LATITUDES, _LONGITUDES)
def test_distance_agrees_with_geographiclib_anywhere_on_earth(lat1, lon1, lat2, lon2) -> None:
    expected_m = Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2, Geodesic.DISTANCE)["s12"]
    assert float(distance_km(lat1, lon1, lat2, lon2)) * 1000 == pytest.approx(expected_m, abs=1e-6)


def test_distance_broadcasts_and_leaves_its_arguments_alone() -> None:
    latitude = np.array([[50.0], [51.0]])
    table = distance_km(latitude, 0.0, np.array([50.0, 51.0, 52.0]), 0.0)
    assert table.shape == (2, 3)
    assert table[0, 0] == table[1, 1] == 0
    assert table[0, 1] == table[1, 0] == pytest.approx(111.2, abs=0.1)
    assert latitude.tolist() == [[50.0], [51.0]]


@pytest.mark.parametrize("place", range(4))
def test_distance_from_an_unknown_place_is_unknown(place: int) -> None:
    degrees = [50.0, 1.0, 51.0, 2.0]
    degrees[place] = math.nan
    assert np.isnan(distance_km(*degrees))


@given(st.floats(0, 20_100), st.floats(0, 20_100))
def test_a_longer_distance_never_has_a_shorter_route_or_a_smaller_estimate(one: float, other: float) -> None:
    near, far = sorted((one, other))
    assert near <= route_km(near) <= route_km(far)
    assert estimated_rtt_ms(near) <= estimated_rtt_ms(far)


SITES = {"site": ["A", "B", "nowhere"], "latitude": [54.0, 55.0, math.nan], "longitude": [-1.0, -2.0, -1.0]}
HUBS = {"hub": ["X", "Y", "Z"], "pool": ["X", "Y", "Z"], "latitude": [54.5, 52.0, 53], "longitude": [-1.5, 0.0, None]}


def test_unknown_pairs_are_estimated_where_the_policy_says_so_and_both_places_are_known(fleet_of, rtts) -> None:
    fleet = fleet_of(SITES, HUBS, unknown_latency="estimate")
    expected_km = {
        ("A", "X"): distance_km(54, -1, 54.5, -1.5),
        ("A", "Y"): distance_km(54, -1, 52, 0),
        ("B", "X"): distance_km(55, -2, 54.5, -1.5),
        ("B", "Y"): distance_km(55, -2, 52, 0),
    }
    assert rtts(fleet) == {pair: pytest.approx(km * 1.5 * 0.01) for pair, km in expected_km.items()}


def test_nothing_is_estimated_without_the_policy(fleet_of, rtts) -> None:
    assert rtts(fleet_of(SITES, HUBS)) == {}


def test_an_estimate_never_replaces_a_better_source(fleet_of, rtts, evidence) -> None:
    fleet = fleet_of(
        SITES,
        HUBS,
        latency={"site": ["A"], "hub": ["X"], "rtt_ms": [77.0]},
        samples={"site": ["A"], "hub": ["Y"], "rtt_ms": [88.0]},
        links={"from": ["B"], "to": ["X"], "latency_ms": [33.0]},
        unknown_latency="estimate",
    )
    assert evidence(fleet) == ["measured", "measured", "modelled", "estimated"]
    assert list(rtts(fleet).values())[:3] == [77, 88, 66]


def test_a_hub_with_several_pools_lies_where_its_first_located_pool_does(fleet_of) -> None:
    hubs = {
        "hub": ["X", "X", "X"],
        "pool": ["old", "new", "spare"],
        "latitude": [math.nan, 54.5, 10.0],
        "longitude": [-1.5, -1.5, 10.0],
    }
    table = resolve(fleet_of(SITES, hubs, unknown_latency="estimate"))
    assert table.rtt_ms[0] == pytest.approx(float(distance_km(54, -1, 54.5, -1.5)) * 1.5 * 0.01)


@given(*[st.lists(st.tuples(st.floats(-90, 90), st.floats(-180, 180)), min_size=20, max_size=20)] * 2)
@settings(max_examples=30, deadline=None)
def test_farther_than_is_what_distances_say(ones, others):
    one, other = np.array(ones), np.array(others)
    other[::2] = one[::2] + (other[::2] - 45) / 10_000  # some near each other
    one[3, 1] = other[5, 0] = np.nan
    places = (one[:, 0], one[:, 1], np.clip(other[:, 0], -90, 90), other[:, 1])
    for km in (0.5, 5.0, 500.0):
        assert (farther_than(km, *places) == (distance_km(*places) > km)).all()
