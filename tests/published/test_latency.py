"""Distances, delays and percentiles against published values."""

import math

import pytest
from geographiclib.geodesic import Geodesic

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.latency import distance_km, resolve
from planner.latency.distance import estimated_rtt_ms, route_km


def dms(degrees: float, minutes: float = 0, seconds: float = 0) -> float:
    return math.copysign(abs(degrees) + minutes / 60 + seconds / 3600, degrees)


@pytest.mark.parametrize(
    ("points", "metres", "tolerance"),
    [
        # GEO-1: GeodSolve(1) manual, Examples (C. F. F. Karney); published in whole metres
        ((dms(40, 38, 23), dms(-73, 46, 44), dms(1, 21, 33), dms(103, 59, 22)), 15_347_628, 0.5),
        # GEO-2: geographiclib for Python, Examples
        ((-41.32, 174.81, 40.96, -5.50), 19_959_679.267, 0.001),
        # GEO-3: geographiclib test GeodSolve76, nearly antipodal, where Vincenty's method fails
        ((dms(-41, 19), dms(174, 49), dms(40, 58), dms(-5, 30)), 19_960_543.857179, 1e-6),
        # GEO-4: geographiclib test GeodSolve0
        ((40.6, -73.8, 49.01666667, 2.55), 5_853_226, 0.5),
        # GEO-5: Karney, Algorithms for geodesics, J. Geodesy 87 (2013) 43-55, first test case of geographiclib
        ((35.60777, -139.44815, -11.17491, -69.95921), 8_935_244.5604818305, 1e-6),
        # GEO-6: geographiclib for Python, Examples; crosses the antimeridian
        ((40.1, 116.6, 37.6, -122.4), 9_513_998, 0.5),
        # GEO-7: inputs from geographiclib for Python, Examples; the distance recomputed with it
        ((40.6, -73.8, 51.6, -0.5), 5_551_759.400, 0.001),
        # GEO-9: geopy README, in statute miles
        ((41.49008, -71.312796, 41.499498, -81.695391), 538.390445368 * 1609.344, 0.001),
        # GEO-10: GDA Technical Manual, Flinders Peak to Buninyong, on GRS80 (0.1 mm from WGS 84); from memory
        (
            (dms(-37, 57, 3.72030), dms(144, 25, 29.52440), dms(-37, 39, 10.15610), dms(143, 55, 35.38390)),
            54_972.271,
            0.001,
        ),
        # GEO-11: derived, recomputed with geographiclib; no published value
        ((0, 0, 0, 1), 111_319.491, 0.001),
        ((0, 0, 1, 0), 110_574.389, 0.001),
        ((90, 0, -90, 0), 20_003_931.459, 0.001),
        ((0, 179.5, 0, -179.5), 111_319.491, 0.001),
    ],
)
def test_geodesic_distance(points: tuple[float, ...], metres: float, tolerance: float) -> None:
    assert float(distance_km(*points)) * 1000 == pytest.approx(metres, abs=tolerance)
    assert Geodesic.WGS84.Inverse(*points)["s12"] == pytest.approx(metres, abs=tolerance)


def haversine_km(lat1: float, lon1: float, lat2: float, lon2: float) -> float:
    phi1, phi2 = math.radians(lat1), math.radians(lat2)
    chord = math.sin((phi2 - phi1) / 2) ** 2
    chord += math.cos(phi1) * math.cos(phi2) * math.sin(math.radians(lon2 - lon1) / 2) ** 2
    return 2 * 6371.0088 * math.asin(math.sqrt(chord))


def test_ours_is_the_ellipsoid_and_not_the_sphere() -> None:
    """GEO-8 (haversine README: Lyon to Paris on the sphere) and GEO-12: sphere and ellipsoid differ, by below 0.6 %."""
    lyon_paris = (45.7597, 4.8422, 48.8567, 2.3508)
    assert haversine_km(*lyon_paris) == pytest.approx(392.2172595594006, abs=1e-9)
    assert haversine_km(*lyon_paris) / distance_km(*lyon_paris) - 1 == pytest.approx(-0.00055, abs=0.000005)
    assert haversine_km(0, 0, 1, 0) / distance_km(0, 0, 1, 0) - 1 == pytest.approx(0.00561, abs=0.000005)


@pytest.mark.parametrize(
    ("km", "route", "one_way_ms"),
    [
        (0, 0, 0),
        (100, 150, 0.75),
        (400, 600, 3.0),
        (1000, 1500, 7.5),
        (1100, 1500, 7.5),
        (1200, 1500, 7.5),
        (5000, 6250, 31.25),
        (10_000, 12_500, 62.5),  # this line is worked in ITU-T Y.1541, Appendix III (quoted in a secondary text)
    ],
)
def test_route_length_and_delay_of_a_distance(km: float, route: float, one_way_ms: float) -> None:
    """LAT-1 to LAT-4: ITU-T G.114 (5 µs/km) and Y.1541 Appendix III (route length); lower branches from memory."""
    assert float(route_km(km)) == route
    assert float(estimated_rtt_ms(km)) == pytest.approx(2 * one_way_ms)


@pytest.mark.parametrize("join_km", [1000, 1200])
def test_route_length_has_no_step_at_its_joins(join_km: float) -> None:
    """LAT-4: the rule is continuous at 1000 and at 1200 km."""
    assert float(route_km(join_km - 1e-6)) == pytest.approx(float(route_km(join_km + 1e-6)), abs=1e-5)


def test_estimate_across_the_atlantic() -> None:
    """LAT-5, derived from GEO-7."""
    assert float(route_km(5551.7594)) == pytest.approx(6939.69925, abs=1e-9)
    assert float(estimated_rtt_ms(5551.7594)) == pytest.approx(69.397, abs=0.0005)


def percentile_of(samples: list[float | None], percentile: float) -> float:
    count = len(samples)
    fleet = Fleet(
        typed_table(columns.SITES, {"site": ["A"]}),
        typed_table(columns.HUBS, {"hub": ["X"], "pool": ["X"]}),
        samples=typed_table(columns.SAMPLES, {"site": ["A"] * count, "hub": ["X"] * count, "rtt_ms": samples}),
        policy=Policy(percentile=percentile),
    )
    return float(resolve(fleet).rtt_ms[0])


NIST = [95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682]


@pytest.mark.parametrize(
    ("samples", "percentile", "expected"),
    [
        # ST-2: Hyndman and Fan, The American Statistician 50(4), 1996, type 1, on the data of NIST 7.2.6.2 (ST-1)
        (NIST, 90, 95.1959),
        # ST-3: the example of encyclopaedias; values from memory
        ([15, 20, 35, 40, 50], 40, 20),
        # ST-4: derived
        (list(range(1, 11)), 25, 3),
        (list(range(1, 11)), 50, 5),
        (list(range(1, 11)), 90, 9),
        (list(range(1, 11)), 95, 10),
        # ST-5: RFC 2330, section 11.3, moved up by 10 since an RTT is positive: F(7) = 5/6 is the first at 0.6
        ([8, 17, 17, 14, 28, 5], 60, 17),
        ([8, 17, 17, 14, 28, 5], 16, 5),
        ([8, 17, 17, 14, 28, 5], 84, 28),
        # ST-6: RFC 2679 (now RFC 7679), sample statistics; a lost probe is infinitely late
        ([100, 110, None, 90, 500], 50, 110),
        ([100, 110, None, 90, 500], 80, 500),
        ([100, 110, None, 90, 500], 95, math.inf),
        # ST-8: derived; leaving out the lost ones would hide them
        ([10] * 95 + [20] * 3 + [None] * 2, 50, 10),
        ([10] * 95 + [20] * 3 + [None] * 2, 95, 10),
        ([10] * 95 + [20] * 3 + [None] * 2, 98, 20),
        ([10] * 95 + [20] * 3 + [None] * 2, 99, math.inf),
    ],
)
def test_percentile_of_samples_is_the_nearest_rank(samples, percentile: float, expected: float) -> None:
    assert percentile_of(samples, percentile) == expected
