"""Losses in the WAN: against a graph without the lost part, searched anew for every site."""

import itertools
import random

import networkx as nx
import pytest

from planner import columns
from planner import drill as run_drill
from planner.fleet import typed_table


def with_links(case, links):
    table = typed_table(
        columns.LINKS,
        {"from": [a for a, _, _ in links], "to": [b for _, b, _ in links], "latency_ms": [ms for _, _, ms in links]},
    )
    case.fleet = case.fleet.replace(links=table)
    return case


def ring(build, **options):
    """A and B hang on R1 and R2; a ring R1 - N - R2 - S - R1 joins the hubs N and S."""
    case = build({"N": ["N-1"], "S": ["S-1"]}, [("A", 1, "N-1", "S-1"), ("B", 1, "N-1", None)], rtt=4.0, **options)
    links = [("A", "R1", 1), ("B", "R2", 1), ("R1", "N", 1), ("N", "R2", 1), ("R2", "S", 1), ("S", "R1", 1)]
    return with_links(case, links)


def named(case, *lose):
    drill = run_drill(case.fleet, case.plan, lose).drill
    return {row.site: (row.why, row.outcome) for row in drill.displaced}


def test_a_bridge_cuts_its_site_off_from_the_standby_as_well(build):
    assert named(ring(build), "A--R1") == {"A": ("cut", "standby_lost")}


def test_a_link_of_the_ring_is_gone_round(build):
    assert named(ring(build), "link:R1--N") == {}  # A goes R1 - S - R2 - N: 8 ms, within 20 ms


def test_a_way_round_that_is_too_long_takes_the_vote_and_the_standby_helps(build):
    case = ring(build, policy={})
    # The way that is left grows by 4 ms: 4 stated, so 8 ms against a budget of 7.
    case.plan = case.plan.replace(
        assignments=tuple(type(row)(**{**_fields(row), "budget_ms": 7.0}) for row in case.plan.assignments)
    )
    assert named(case, "N--R1") == {"A": ("budget", "rehomed")}
    assert named(case, "N--R2") == {"B": ("budget", "no_standby")}


def _fields(row):
    return {name: getattr(row, name) for name in row.__dataclass_fields__}


def test_a_lost_wan_node_cuts_what_hangs_on_it(build):
    assert named(ring(build), "node:R1") == {"A": ("cut", "standby_lost")}


def test_the_hub_as_a_node_of_the_wan_cuts_everybody_while_its_loss_as_a_hub_takes_its_hosts(build):
    case = ring(build)
    assert named(case, "node:N") == {"A": ("cut", "rehomed"), "B": ("cut", "no_standby")}
    assert named(case, "hub:N") == {"A": ("host", "rehomed"), "B": ("host", "no_standby")}


def test_a_pair_that_the_graph_does_not_join_is_not_judged(build):
    case = ring(build)
    table = case.fleet.links[case.fleet.links["from"] != "B"]
    case.fleet = case.fleet.replace(links=table.reset_index(drop=True))
    assert named(case, "N--R2") == {}


def test_of_parallel_links_the_fastest_counts_and_both_are_lost_together(build):
    case = with_links(ring(build), [("A", "N", 2), ("A", "N", 9), ("B", "N", 1)])
    assert named(case, "A--N") == {"A": ("cut", "rehomed")}  # S is not in the graph: the way there is not judged
    assert len([s for s in run_drill(case.fleet, case.plan).singles if s.loss.kind == "link"]) == 2


def test_bridges_and_articulation_points_are_named(build):
    report = run_drill(ring(build).fleet, ring(build).plan)
    details = {str(single.loss): single.detail for single in report.singles}
    assert details["link A -- R1"].startswith("no way around it; 1 site cut off")
    assert details["wan node R2"].startswith("no way around it; 1 site cut off")
    assert "link N -- R1" not in details  # displaces nobody
    assert "6 links and 6 nodes. 2 of the links and 2 of the nodes have no way around them." in " ".join(
        report.searched
    )


@pytest.mark.parametrize("seed", range(25))
def test_every_link_and_node_against_a_graph_without_it(build, seed):
    rng = random.Random(seed)
    sites = [f"S{n}" for n in range(6)]
    rows = [(site, 1, rng.choice(["N-1", "M-1"]), rng.choice([None, "N-1", "M-1"])) for site in sites]
    rows = [(site, k, home, None if standby == home else standby) for site, k, home, standby in rows]
    case = build({"N": ["N-1"], "M": ["M-1"]}, rows)
    routers = [f"R{n}" for n in range(5)]
    links = [(site, rng.choice(routers), rng.randint(0, 2)) for site in sites] + [("N", "R0", 1), ("M", "R1", 1)]
    links += [(a, b, rng.randint(1, 6)) for a, b in itertools.pairwise(routers)]
    links += [(*rng.sample(routers, 2), rng.randint(1, 6)) for _ in range(rng.randint(0, 4))]
    case = with_links(case, links)
    graph = nx.Graph()
    for a, b, ms in links:
        graph.add_edge(a, b, ms=min(ms, graph.get_edge_data(a, b, {"ms": ms})["ms"]))

    def displaced_by(graph_after):
        hit = {}
        for row in case.plan.assignments:
            before = nx.shortest_path_length(graph, row.site, row.hub, weight="ms")
            try:
                after = nx.shortest_path_length(graph_after, row.site, row.hub, weight="ms")
            except (nx.NetworkXNoPath, nx.NodeNotFound):
                hit[row.site] = "cut"
            else:
                if after > before and row.rtt_ms + 2 * (after - before) > row.budget_ms:
                    hit[row.site] = "budget"
        return hit

    listed = {single.loss: single.figures for single in run_drill(case.fleet, case.plan).singles}
    wan = {str(loss): figures for loss, figures in listed.items() if loss.kind in ("link", "wan_node")}
    for link in graph.edges:
        without = graph.copy()
        without.remove_edge(*link)
        expected = displaced_by(without)
        name = " -- ".join(sorted(link))
        drill = run_drill(case.fleet, case.plan, [f"link:{name}"]).drill
        assert {row.site: row.why for row in drill.displaced} == expected
        assert (f"link {name}" in wan) == bool(expected)
        if expected:
            assert wan[f"link {name}"] == drill.figures
    for node in routers:
        without = graph.copy()
        without.remove_node(node)
        expected = displaced_by(without)
        drill = run_drill(case.fleet, case.plan, [f"node:{node}"]).drill
        assert {row.site: row.why for row in drill.displaced} == expected
        assert (f"wan node {node}" in wan) == bool(expected)
        if expected:
            assert wan[f"wan node {node}"] == drill.figures


def test_a_bound_on_the_search_is_said(build, monkeypatch):
    case = ring(build)
    monkeypatch.setattr("planner.resilience.drills.wan._MOST_STEPS", 0)
    report = run_drill(case.fleet, case.plan)
    assert "were not tried, since that takes too long" in " ".join(report.searched)
    assert {str(single.loss) for single in report.singles if single.loss.kind == "link"} == {
        "link A -- R1",
        "link B -- R2",
    }


def test_the_list_of_wan_losses_ends_where_no_other_can_be_worse(build, monkeypatch):
    monkeypatch.setattr("planner.resilience.drills.wan._SHOWN", 2)
    rows = [(f"S{n}", 1 + n % 3, "N-1", None) for n in range(9)]
    case = with_links(build({"N": ["N-1"]}, rows, cap=40), [(f"S{n}", "N", 1) for n in range(9)])
    report = run_drill(case.fleet, case.plan)
    listed = [single.figures.unprotected_after for single in report.singles if single.loss.kind == "link"]
    assert listed == [3, 3]
    assert "No other loss of a link or node hits more clusters." in " ".join(report.searched)


def test_a_site_that_was_over_its_budget_before_is_not_displaced_by_a_loss_elsewhere(build):
    case = ring(build)
    late = tuple(type(row)(**{**_fields(row), "budget_ms": 1.0}) for row in case.plan.assignments)
    case.plan = case.plan.replace(assignments=late)
    assert named(case, "R2--S") == {}
