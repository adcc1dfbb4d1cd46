"""Shortest paths over the Links sheet."""

import math

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner import columns
from planner.fleet import Fleet, typed_table
from planner.latency import resolve
from tests.how_many import tries


def links(*rows: tuple[str, str, float | None, float | None]) -> dict[str, list]:
    return dict(zip(("from", "to", "latency_ms", "km"), map(list, zip(*rows, strict=True)), strict=True))


def test_one_way_delays_along_the_path_are_added_and_doubled(fleet_of, rtts, evidence) -> None:
    fleet = fleet_of("A", "X", links=links(("A", "core", 2.0, None), ("core", "X", 3.5, None)))
    assert rtts(fleet) == {("A", "X"): 11.0}
    assert evidence(fleet) == ["modelled"]


def test_links_work_in_both_directions(fleet_of, rtts) -> None:
    fleet = fleet_of("A B", "X", links=links(("X", "core", 1, None), ("core", "A", 2, None), ("B", "core", 4, None)))
    assert rtts(fleet) == {("A", "X"): 6, ("B", "X"): 10}


def test_of_parallel_links_the_fastest_counts_and_they_are_not_added(fleet_of, rtts) -> None:
    fleet = fleet_of("A", "X", links=links(("A", "X", 5, None), ("X", "A", 3, None), ("A", "X", 4, None)))
    assert rtts(fleet) == {("A", "X"): 6}


def test_a_detour_that_is_faster_than_the_direct_link_is_taken(fleet_of, rtts) -> None:
    fleet = fleet_of("A B", "X", links=links(("A", "X", 9, None), ("A", "B", 1, None), ("B", "X", 2, None)))
    assert rtts(fleet) == {("A", "X"): 6, ("B", "X"): 4}


def test_length_counts_at_5_us_per_km_only_where_the_delay_is_blank(fleet_of, rtts) -> None:
    fleet = fleet_of("A B", "X", links=links(("A", "X", None, 300), ("B", "X", 1.0, 300)))
    assert rtts(fleet) == {("A", "X"): pytest.approx(3.0), ("B", "X"): 2.0}


def test_a_link_with_neither_delay_nor_length_carries_nothing(fleet_of, rtts) -> None:
    assert rtts(fleet_of("A", "X", links=links(("A", "X", None, None)))) == {}


def test_a_link_without_delay_is_a_link(fleet_of, rtts) -> None:
    fleet = fleet_of("A", "X", links=links(("A", "core", 0.0, None), ("core", "X", 3, None)))
    assert rtts(fleet) == {("A", "X"): 6}


def test_what_the_graph_does_not_reach_stays_unknown(fleet_of, rtts) -> None:
    fleet = fleet_of("A B C", "X Y", links=links(("A", "X", 1, None), ("B", "Y", 2, None)))
    assert rtts(fleet) == {("A", "X"): 2, ("B", "Y"): 4}


def test_a_site_and_a_hub_of_one_id_are_one_node(fleet_of, rtts) -> None:
    fleet = fleet_of("P A", "P", links=links(("A", "P", 1, None)))
    assert rtts(fleet) == {("P", "P"): 0, ("A", "P"): 2}


def test_a_link_from_a_node_to_itself_changes_nothing(fleet_of, rtts) -> None:
    assert rtts(fleet_of("A", "X", links=links(("A", "A", 1, None), ("A", "X", 2, None)))) == {("A", "X"): 4}


_NODES = st.sampled_from(["A", "B", "C", "X", "Y", "n1", "n2", "n3"])
_LINKS = st.lists(st.tuples(_NODES, _NODES, st.integers(0, 9), st.none()), min_size=1, max_size=25)


@settings(max_examples=tries(60), deadline=None)
@given(_LINKS)
def test_every_pair_agrees_with_networkx(rows) -> None:
    fleet = Fleet(
        typed_table(columns.SITES, {"site": list("ABC")}),
        typed_table(columns.HUBS, {"hub": list("XY"), "pool": list("XY")}),
        links=typed_table(columns.LINKS, links(*rows)),
    )
    graph = nx.MultiGraph()
    graph.add_weighted_edges_from((one, other, delay) for one, other, delay, _ in rows)
    expected = {
        (site, hub): 2 * nx.shortest_path_length(graph, site, hub, weight="weight")
        for site in "ABC"
        for hub in "XY"
        if site in graph and hub in graph and nx.has_path(graph, site, hub)
    }
    table = resolve(fleet)
    assert {("ABC"[s], "XY"[h]): rtt for s, h, rtt in zip(table.site, table.hub, table.rtt_ms, strict=True)} == expected
    assert not any(math.isinf(rtt) for rtt in table.rtt_ms)
