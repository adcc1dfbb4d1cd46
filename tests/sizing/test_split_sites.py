"""Sites whose clusters may use several hosts: host counts tried one by one, each judged by a networkx flow."""

import itertools

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.sizing import plan
from tests.how_many import tries


def carried(rtt, clusters, room) -> bool:
    graph = nx.DiGraph()
    graph.add_nodes_from(["source", "sink"])
    for s, k in enumerate(clusters):
        graph.add_edge("source", ("site", s), capacity=k)
        for p in range(rtt.shape[1]):
            if rtt[s, p] <= 50:
                graph.add_edge(("site", s), ("pool", p), capacity=k)
    for p, most in enumerate(room):
        graph.add_edge(("pool", p), "sink", capacity=most)
    return nx.maximum_flow_value(graph, "source", "sink") == sum(clusters)


@st.composite
def cases(draw):
    count, width = draw(st.integers(1, 4)), draw(st.integers(1, 3))

    def each(n, strategy):
        return draw(st.lists(strategy, min_size=n, max_size=n))

    rtt = np.array(each(count * width, st.sampled_from([10.0, 20.0, 51.0]))).reshape(count, width)
    return rtt, each(count, st.integers(1, 7)), each(width, st.integers(1, 4)), each(width, st.integers(0, 3))


def brute_force(rtt, clusters, cap, most) -> tuple[int, int]:
    """Return (most sites served, fewest hosts that serve as many)."""
    for size in range(len(clusters), -1, -1):
        fewest = [
            sum(hosts)
            for hosts in itertools.product(*(range(m + 1) for m in most))
            for served in itertools.combinations(range(len(clusters)), size)
            if carried(
                rtt[list(served)], [clusters[s] for s in served], [n * c for n, c in zip(hosts, cap, strict=True)]
            )
        ]
        if fewest:
            return size, min(fewest)
    raise AssertionError("serving nobody is always possible")


@settings(max_examples=tries(12), deadline=None)
@given(case=cases())
def test_split_sites_need_as_few_hosts_as_any_plan(make, case):
    rtt, clusters, cap, most = case
    fleet = make.fleet(
        rtt, sites={"clusters": clusters}, pools={"cluster_cap": cap, "max_hosts": most}, split_sites=True
    )
    result = plan(fleet)
    make.sound(fleet, result)
    served = len(clusters) - len(result.unserved)
    assert (served, result.hosts) == brute_force(*case)
    assert result.hosts == result.lower_bound


def test_a_site_larger_than_any_host_is_split(make):
    fleet = make.fleet([[10.0]], sites={"clusters": [7]}, pools={"cluster_cap": [3]}, split_sites=True)
    result = plan(fleet)
    assert sorted(row.clusters for row in result.assignments) == [2, 2, 3]
    make.sound(fleet, result)


def test_money_with_split_sites_and_pair_costs_is_refused(make):
    fleet = make.fleet([[10.0]], costs=[[3]], pools={"host_cost": [5]}, split_sites=True, objective="cost")
    with pytest.raises(Exception, match="cannot be shared"):
        plan(fleet)
