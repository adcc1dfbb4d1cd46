"""Set covering and bin packing as fleets, with published or enumerated optima."""

import itertools
from pathlib import Path

import numpy as np
import pytest

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.sizing import plan
from planner.verify import verify
from tests.how_many import MORE

BINPACK = Path(__file__).parents[3] / "shared" / "benchmarks" / "binpack"

# OR-3: W. L. Winston, Operations Research, set covering, "Kilroy County": driving minutes between six cities.
KILROY = np.array(
    [
        [0, 10, 20, 30, 30, 20],
        [10, 0, 25, 35, 20, 10],
        [20, 25, 0, 15, 30, 20],
        [30, 35, 15, 0, 15, 25],
        [30, 20, 30, 15, 0, 14],
        [20, 10, 20, 25, 14, 0],
    ],
    dtype=float,
)


def covering(minutes, limit: float, cap: int = 64, names: list[str] | None = None) -> Fleet:
    """Sites and hubs at the same points; 0 minutes count as a tenth, since an RTT of zero is not a measurement."""
    count, width = minutes.shape
    sites = names or [f"site {i + 1}" for i in range(count)]
    hubs = [f"{j + 1}" for j in range(width)]
    rows, places = np.indices(minutes.shape).reshape(2, -1)
    return Fleet(
        sites=typed_table(columns.SITES, {"site": sites}),
        pools=typed_table(columns.HUBS, {"hub": hubs, "pool": hubs}),
        latency=typed_table(
            columns.LATENCY,
            {
                "site": [sites[i] for i in rows],
                "hub": [hubs[j] for j in places],
                "rtt_ms": np.maximum(minutes, 0.1).ravel(),
            },
        ),
        policy=Policy(latency_budget_ms=limit, cluster_cap=cap),
    )


def hosts(fleet: Fleet) -> int:
    result = plan(fleet)
    assert result.lower_bound == result.hosts
    assert verify(fleet, result) == ()
    return result.hosts


def test_kilroy_county_needs_two_stations():
    """OR-3: the answer, cities 2 and 4, is Winston's."""
    result = plan(covering(KILROY, 15))
    assert {h.hub for h in result.host_list} == {"2", "4"}


@pytest.mark.parametrize(("limit", "stations"), [(9, 6), (10, 4), (14, 4), (15, 2), (20, 2), (25, 1)])
def test_kilroy_county_at_other_limits(limit, stations):
    """OR-4, by enumeration; never increases as the limit grows."""
    assert hosts(covering(KILROY, limit)) == stations


@pytest.mark.parametrize(("cap", "stations"), [(1, 6), (2, 3), (3, 2)])
def test_kilroy_county_with_few_cities_for_each_station(cap, stations):
    """OR-5, by max-flow over all subsets."""
    assert hosts(covering(KILROY, 15, cap)) == stations


@pytest.mark.parametrize(("limit", "stations"), [(15, 4), (20, 2), (25, 2)])
def test_kilroy_county_where_no_city_serves_itself(limit, stations):
    """OR-6, by enumeration: a site with a hub's id stands in that hub, so the third-location rule applies."""
    assert hosts(covering(KILROY, limit, names=[str(i + 1) for i in range(6)])) == stations


OF_27_POINTS = pytest.param(3, 27, 117, 18, marks=pytest.mark.skipif(not MORE, reason="long"))


@pytest.mark.parametrize(("dimension", "points", "lines", "fewest"), [(2, 9, 12, 5), OF_27_POINTS])
def test_steiner_triple_systems_have_their_covering_number(dimension, points, lines, fewest):
    """Hubs are the points, sites the lines of the affine space over three elements.

    Covering numbers 5 and 18: D. R. Fulkerson, G. L. Nemhauser, L. E. Trotter, "Two computationally difficult set
    covering problems that arise in computing the 1-width of incidence matrices of Steiner triple systems",
    Mathematical Programming Study 2 (1974) 72-81 (citation from memory).
    """
    space = list(itertools.product(range(3), repeat=dimension))
    triples = {
        tuple(sorted((a, b, tuple((-x - y) % 3 for x, y in zip(a, b, strict=True)))))
        for a, b in itertools.combinations(space, 2)
    }
    assert (len(space), len(triples)) == (points, lines)
    minutes = np.array([[1.0 if point in line else 99.0 for point in space] for line in sorted(triples)])
    assert hosts(covering(minutes, 10, cap=1000)) == fewest


def packing(sizes: list[int], capacity: int) -> Fleet:
    """One hub serves all; a site's clusters stay together, so hosts are bins."""
    sites = [f"{i:03d}" for i in range(len(sizes))]
    return Fleet(
        sites=typed_table(columns.SITES, {"site": sites, "clusters": sizes}),
        pools=typed_table(columns.HUBS, {"hub": ["H"], "pool": ["H"], "max_hosts": [len(sizes)]}),
        latency=typed_table(columns.LATENCY, {"site": sites, "hub": ["H"] * len(sizes), "rtt_ms": [1.0] * len(sizes)}),
        policy=Policy(latency_budget_ms=10.0, cluster_cap=capacity),
    )


def test_bins_of_the_glpk_example():
    """OR-10: GLPK 5.0 examples, bpp."""
    assert hosts(packing([50, 60, 30, 70, 50, 40], 100)) == 3


def falkenauer(name: str) -> list[tuple[str, int, int, list[int]]]:
    tokens = iter((BINPACK / name).read_text().split())
    problems = []
    for _ in range(int(next(tokens))):
        title, capacity, items, best = next(tokens), int(next(tokens)), int(next(tokens)), int(next(tokens))
        problems.append((title, capacity, best, [int(next(tokens)) for _ in range(items)]))
    return problems


@pytest.mark.skipif(not BINPACK.is_dir(), reason="the public bin packing instances are not here")
@pytest.mark.parametrize(("name", "problem"), [("binpack1.txt", 0), ("binpack1.txt", 2), ("binpack5.txt", 0)])
def test_falkenauer_instances_reach_their_known_optimum(name, problem):
    """E. Falkenauer, Journal of Heuristics 2 (1996) 5-30, by way of OR-Library; first-fit decreasing misses each."""
    _, capacity, best, sizes = falkenauer(name)[problem]
    assert hosts(packing(sizes, capacity)) == best
