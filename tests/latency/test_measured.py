"""The Latency sheet as it stands, and samples reduced to their percentile."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.latency import resolve


def test_a_blank_cell_and_a_missing_pair_are_unknown(fleet_of, rtts) -> None:
    fleet = fleet_of("A B", "X Y", {"site": ["B", "A"], "hub": ["X", "Y"], "rtt_ms": [20.5, math.nan]})
    assert rtts(fleet) == {("B", "X"): 20.5}


def test_rows_come_sorted_by_site_and_hub_of_the_fleet_whatever_the_order_of_the_sheet(fleet_of) -> None:
    latency = {"site": list("BABA"), "hub": list("YYXX"), "rtt_ms": [4, 2, 3, 1], "loss_percent": [0.4, 0.2, 0.3, 0.1]}
    table = resolve(fleet_of("A B", "X Y", latency))
    assert list(zip(table.site, table.hub, strict=True)) == [(0, 0), (0, 1), (1, 0), (1, 1)]
    assert table.rtt_ms.tolist() == [1, 2, 3, 4]
    assert table.loss_percent.tolist() == [0.1, 0.2, 0.3, 0.4]


def test_column_types_are_the_documented_ones(fleet_of) -> None:
    table = resolve(fleet_of("A", "X", {"site": ["A"], "hub": ["X"], "rtt_ms": [1]}))
    assert [getattr(table, name).dtype.name for name in ("site", "hub", "rtt_ms", "loss_percent", "pair_cost")] == [
        "int32",
        "int32",
        "float64",
        "float64",
        "float64",
    ]
    assert table.evidence.dtype == np.int8
    assert len(table) == 1


def test_categorical_ids_mean_the_same_as_plain_ones(fleet_of, rtts) -> None:
    plain = {"site": ["B", "A", "B"], "hub": ["X", "Y", "Y"], "rtt_ms": [1, 2, 3]}
    coded = plain | {"site": pd.Categorical(plain["site"]), "hub": pd.Categorical(plain["hub"], list("YX"))}
    assert rtts(fleet_of("A B", "X Y", coded)) == rtts(fleet_of("A B", "X Y", plain))


def test_rows_of_sites_and_hubs_that_the_fleet_does_not_have_are_left_out(fleet_of, rtts) -> None:
    fleet = fleet_of("A", "X", {"site": ["A", "Z", "A"], "hub": ["X", "X", "Z"], "rtt_ms": [1, 2, 3]})
    assert rtts(fleet) == {("A", "X"): 1}


def test_of_several_rows_for_one_pair_the_worst_of_each_figure_counts(fleet_of) -> None:
    latency = {
        "site": ["A"] * 3,
        "hub": ["X"] * 3,
        "rtt_ms": [9, math.nan, 7],
        "loss_percent": [math.nan, 3, 1],
        "pair_cost": [5, 6, math.nan],
    }
    table = resolve(fleet_of("A", "X", latency))
    assert (table.rtt_ms.tolist(), table.loss_percent.tolist(), table.pair_cost.tolist()) == ([9], [3], [6])


def test_blank_loss_is_unknown_and_blank_cost_is_nothing(fleet_of) -> None:
    table = resolve(fleet_of("A", "X", {"site": ["A"], "hub": ["X"], "rtt_ms": [1]}))
    assert np.isnan(table.loss_percent).all()
    assert table.pair_cost.tolist() == [0]


def test_samples_give_percentile_and_loss_per_pair(fleet_of) -> None:
    samples = {
        "site": ["B", "A", "B", "A", "B", "B"],
        "hub": ["X"] * 6,
        "rtt_ms": [30, 5, math.nan, 7, 10, 20],
    }
    table = resolve(fleet_of("A B", "X", samples=samples, percentile=75))
    assert table.rtt_ms.tolist() == [7, 30]
    assert table.loss_percent.tolist() == [0, 25]


def test_a_pair_whose_probes_were_all_lost_is_infinitely_far(fleet_of) -> None:
    table = resolve(fleet_of("A", "X", samples={"site": ["A"] * 2, "hub": ["X"] * 2, "rtt_ms": [math.nan] * 2}))
    assert table.rtt_ms.tolist() == [math.inf]
    assert table.loss_percent.tolist() == [100]


@pytest.mark.parametrize(
    ("percentile", "count", "rank"),
    [(95, 20, 19), (95, 21, 20), (99.9, 1000, 999), (100, 7, 7), (0.01, 5, 1), (50, 1, 1), (50, 2, 1), (29, 100, 29)],
)
def test_nearest_rank_is_not_moved_by_binary_fractions(fleet_of, percentile: float, count: int, rank: int) -> None:
    probes = np.arange(1.0, count + 1)[::-1]
    samples = {"site": ["A"] * count, "hub": ["X"] * count, "rtt_ms": probes}
    assert resolve(fleet_of("A", "X", samples=samples, percentile=percentile)).rtt_ms.tolist() == [rank]


_PROBES = st.lists(st.tuples(st.sampled_from("AB"), st.sampled_from("XY"), st.none() | st.integers(1, 50)), max_size=40)


@given(_PROBES, st.integers(1, 100))
def test_percentile_is_the_smallest_value_that_enough_probes_do_not_exceed(probes, percentile: int) -> None:
    """RFC 2330, section 11.3: the smallest x with F(x) >= y, on each pair by itself."""
    values = {"site": [p[0] for p in probes], "hub": [p[1] for p in probes], "rtt_ms": [p[2] for p in probes]}
    fleet = Fleet(
        typed_table(columns.SITES, {"site": ["A", "B"]}),
        typed_table(columns.HUBS, {"hub": ["X", "Y"], "pool": ["X", "Y"]}),
        samples=typed_table(columns.SAMPLES, values),
        policy=Policy(percentile=percentile),
    )
    table = resolve(fleet)
    assert len(table) == len({p[:2] for p in probes})
    for site, hub, rtt_ms in zip(table.site, table.hub, table.rtt_ms, strict=True):
        of_pair = [math.inf if p[2] is None else p[2] for p in probes if p[:2] == ("AB"[site], "XY"[hub])]
        enough = [x for x in of_pair if 100 * sum(value <= x for value in of_pair) >= percentile * len(of_pair)]
        assert rtt_ms == min(enough)
