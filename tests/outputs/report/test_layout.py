"""Places on the map, against geometry and against PROJ."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Transformer

from planner import columns
from planner.fleet import Fleet, typed_table
from planner.outputs.report.outlines import outlines
from planner.outputs.report.places import lay_out, mercator
from planner.outputs.report.schematic import classical_scaling, schematic_places
from planner.plan import Assignment

coordinates = st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=1, max_size=12)


def distances(points):
    return np.linalg.norm(points[:, None] - points[None], axis=2)


@given(coordinates)
@settings(max_examples=60, deadline=None)
def test_distances_of_points_in_a_plane_come_back(points):
    """Torgerson 1952: classical scaling of Euclidean distances is exact up to turns and reflections."""
    wanted = distances(np.array(points))
    assert distances(classical_scaling(wanted)) == pytest.approx(wanted, abs=1e-5)


def test_web_mercator_agrees_with_proj():
    rng = np.random.default_rng(3)
    longitude, latitude = rng.uniform(-180, 180, 500), rng.uniform(-84, 84, 500)
    expected = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True).transform(longitude, latitude)
    assert np.array(mercator(longitude, latitude)) == pytest.approx(np.array(expected), abs=1e-3)


def test_poles_are_drawn_where_mercator_still_has_them():
    _, y = mercator(np.array([0.0, 0.0]), np.array([90.0, -90.0]))
    assert np.isfinite(y).all()


def inside(x, y, ring_x, ring_y):
    """Whether a point lies in a ring: the even-odd rule."""
    turn_x, turn_y = np.roll(ring_x, 1), np.roll(ring_y, 1)
    crosses = (ring_y > y) != (turn_y > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = (turn_x - ring_x) * (y - ring_y) / (turn_y - ring_y) + ring_x
    return bool(np.sum(crosses & (x < at)) % 2)


@pytest.mark.parametrize(
    ("place", "longitude", "latitude", "land"),
    [
        ("Madrid", -3.7, 40.4, True),
        ("Nairobi", 36.8, -1.3, True),
        ("Denver", -105.0, 39.7, True),
        ("the middle of the Bay of Biscay", -5.0, 45.5, False),
        ("the middle of the South Pacific", -130.0, -40.0, False),
    ],
)
def test_outlines_hold_known_places(place, longitude, latitude, land):
    """Positions of cities and seas from memory, rounded to a tenth of a degree or more."""
    x, y = (float(value[0]) for value in mercator(np.array([longitude]), np.array([latitude])))
    found = any(inside(x, y, *map(np.float64, ring)) for ring in zip(*outlines(0.0), strict=True))
    assert found == land


def test_outlines_follow_the_map_over_the_date_line():
    """A map centred on 180 degrees has the Americas beyond it, where a map centred on Europe has them west of 0."""
    for centre in (180.0, 0.0):
        middles = np.array([x.mean() for x in outlines(centre)[0]]) / 6_378_137.0 / np.pi * 180
        assert abs(middles - centre).max() <= 201
        assert (middles.max() > 280) == (centre > 0)  # Argentina, at 65 degrees west


@pytest.fixture
def without_coordinates():
    """Hubs A and B 30 ms apart, as the sites between them say; hub C that nobody knows."""
    sites = typed_table(columns.SITES, {"site": ["1", "2", "3", "4"]})
    pools = typed_table(columns.HUBS, {"hub": ["A", "B", "C"], "pool": ["A", "B", "C"]})
    latency = typed_table(
        columns.LATENCY,
        {"site": ["1", "1", "2", "2", "3"], "hub": ["A", "B", "A", "B", "B"], "rtt_ms": [5.0, 25.0, 12.0, 20.0, 7.0]},
    )
    return Fleet(sites, pools, latency=latency)


def test_a_site_stands_as_far_from_its_hub_as_its_round_trip_time(without_coordinates, plan):
    assigned = tuple(Assignment(site, "A-01", "A", 1, rtt, 40.0, "measured") for site, rtt in (("1", 5.0), ("2", 12.0)))
    sites, hubs = schematic_places(without_coordinates, plan.replace(assignments=assigned))
    for site, hub, rtt in (("1", "A", 5.0), ("2", "A", 12.0), ("3", "B", 7.0)):
        assert np.hypot(*np.subtract(sites[site], hubs[hub])) == pytest.approx(rtt)
    assert np.hypot(*np.subtract(hubs["A"], hubs["B"])) == pytest.approx(30.0)
    assert "C" in hubs
    assert "4" not in sites  # nobody knows a round-trip time of it


def test_few_coordinates_give_a_scheme_and_most_give_a_map(without_coordinates, plan):
    fleet = without_coordinates
    assert lay_out(fleet, plan.replace(assignments=())).schematic
    some = pd.Series([52.0, 53.0, 54.0, np.nan])
    fleet = fleet.replace(
        sites=fleet.sites.assign(latitude=some, longitude=some), pools=fleet.pools.assign(latitude=50.0, longitude=9.0)
    )
    layout = lay_out(fleet, plan.replace(assignments=()))
    assert not layout.schematic
    assert set(layout.sites) == {"1", "2", "3"}
