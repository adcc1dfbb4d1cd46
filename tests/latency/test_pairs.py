"""Which source wins, figure by figure."""

import math

import pytest

from planner.latency import resolve

LATENCY = {"site": ["A"], "hub": ["X"], "rtt_ms": [10.0], "loss_percent": [0.5], "pair_cost": [7.0]}
SAMPLES = {"site": ["A", "A"], "hub": ["X", "X"], "rtt_ms": [20.0, math.nan]}
LINKS = {"from": ["A"], "to": ["X"], "latency_ms": [15.0]}
PLACES = (
    {"site": ["A"], "latitude": [0.0], "longitude": [0.0]},
    {"hub": ["X"], "pool": ["X"], "latitude": [0.0], "longitude": [1.0]},
)


@pytest.mark.parametrize(
    ("sheets", "rtt_ms", "evidence"),
    [
        (("latency", "samples", "links"), 10.0, 0),
        (("latency", "links"), 10.0, 0),
        (("samples", "links"), 20.0, 0),
        (("links",), 30.0, 1),
        ((), 1.5 * 111.31949 * 0.01, 2),
    ],
)
def test_the_first_source_that_knows_the_pair_gives_its_rtt(fleet_of, sheets, rtt_ms: float, evidence: int) -> None:
    given = {"latency": LATENCY, "samples": SAMPLES, "links": LINKS}
    fleet = fleet_of(*PLACES, **{name: given[name] for name in sheets}, unknown_latency="estimate", percentile=50)
    table = resolve(fleet)
    assert table.rtt_ms.tolist() == [pytest.approx(rtt_ms, rel=1e-6)]
    assert table.evidence.tolist() == [evidence]


def test_lost_samples_are_measured_too_and_no_model_replaces_them(fleet_of) -> None:
    table = resolve(fleet_of("A", "X", samples=SAMPLES, links=LINKS, percentile=95))
    assert (table.rtt_ms.tolist(), table.evidence.tolist()) == ([math.inf], [0])


@pytest.mark.parametrize("source", [{"samples": SAMPLES}, {"links": LINKS}, {"unknown_latency": "estimate"}])
def test_a_cost_without_rtt_is_kept_when_another_source_knows_the_rtt(fleet_of, source) -> None:
    table = resolve(fleet_of(*PLACES, latency=LATENCY | {"rtt_ms": [math.nan]}, **source))
    assert table.pair_cost.tolist() == [7]
    assert len(table) == 1


def test_a_cost_without_rtt_gives_no_row_when_no_source_knows_the_rtt(fleet_of) -> None:
    assert len(resolve(fleet_of("A", "X", LATENCY | {"rtt_ms": [math.nan]}))) == 0


def test_loss_comes_from_the_first_source_that_states_it(fleet_of) -> None:
    stated = fleet_of("A", "X", LATENCY, SAMPLES)
    blank = fleet_of("A", "X", LATENCY | {"loss_percent": [math.nan]}, SAMPLES)
    assert (resolve(stated).loss_percent.tolist(), resolve(blank).loss_percent.tolist()) == ([0.5], [50.0])
    assert resolve(blank).rtt_ms.tolist() == [10]


def test_a_fleet_that_knows_nothing_has_no_pairs(fleet_of) -> None:
    for fleet in (fleet_of("A", "X"), fleet_of("", ""), fleet_of("", "", unknown_latency="estimate")):
        assert len(resolve(fleet)) == 0
