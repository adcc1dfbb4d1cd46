"""Availability: against enumeration of every state of every part, a seeded Monte Carlo, and a simulation in time."""

import itertools
import math
from collections import defaultdict

import numpy as np
import pytest

from planner import availability as compute
from planner.resilience.uptime.down_times import MINUTES_A_YEAR


def parts_of(case):
    """Share of time down of each part by name, straight from the policy, as a person would write it down."""
    down = {}
    p = case.fleet.policy
    hub_of = dict(case.hosts)
    for row in case.plan.assignments:
        down["uplink", row.site] = 1 - p.site_uplink_availability_percent / 100
    for host, hub in hub_of.items():
        down["host", host] = 1 - p.host_availability_percent / 100
        down["hub", hub] = 1 - p.hub_availability_percent / 100
        down["hub uplink", hub] = 1 - p.hub_uplink_availability_percent / 100
    return down


def clusters_down(case, is_down, nodes_down):
    """Clusters down at each site in one state of the world, and third votes out of reach."""
    hub_of = dict(case.hosts)
    down, without = defaultdict(int), 0
    for number, row in enumerate(case.plan.assignments):
        hub = hub_of[row.host]
        path = [("uplink", row.site), ("host", row.host), ("hub", hub), ("hub uplink", hub)]
        vote = not any(is_down[part] for part in path)
        for cluster in range(row.clusters):
            votes = vote + (not nodes_down[number, cluster, 0]) + (not nodes_down[number, cluster, 1])
            down[row.site] += votes < 2
            without += not vote
    return down, without


def test_every_state_of_a_small_plan_enumerated(build, known):
    """Two hubs, three sites of which one has two clusters: 2^7 states of shared parts times 2^8 of nodes."""
    rows = [("A", 2, "N-1", None), ("B", 1, "N-1", None), ("C", 1, "S-1", None)]
    case = build({"N": ["N-1"], "S": ["S-1"]}, rows, policy=known)
    shares = parts_of(case)
    node = 1 - known["node_availability_percent"] / 100
    nodes = [(n, c, i) for n, row in enumerate(rows) for c in range(row[1]) for i in range(2)]
    minutes, any_down, at_least, without_vote = (
        defaultdict(float),
        defaultdict(float),
        defaultdict(float),
        defaultdict(float),
    )
    for shared in itertools.product((False, True), repeat=len(shares)):
        is_down = dict(zip(shares, shared, strict=True))
        weight = math.prod(shares[part] if gone else 1 - shares[part] for part, gone in is_down.items())
        for state in itertools.product((False, True), repeat=len(nodes)):
            p = weight * math.prod(node if gone else 1 - node for gone in state)
            down, without = clusters_down(case, is_down, dict(zip(nodes, state, strict=True)))
            for site, number in down.items():
                minutes[site] += p * number
                any_down[site] += p * (number > 0)
            for n in range(1, sum(down.values()) + 1):
                at_least[n] += p
            for n in range(1, without + 1):
                without_vote[n] += p
    found = compute(case.fleet, case.plan)
    for site in found.sites:
        assert site.minutes == pytest.approx(minutes[site.site] / site.clusters * MINUTES_A_YEAR, rel=1e-9)
        assert site.any_minutes == pytest.approx(any_down[site.site] * MINUTES_A_YEAR, rel=1e-9)
    assert found.cluster_minutes == pytest.approx(sum(minutes.values()) * MINUTES_A_YEAR, rel=1e-9)
    assert [row.clusters for row in found.together] == [1, 2, 3, 4]
    for row in found.together:
        assert row.down_minutes == pytest.approx(at_least[row.clusters] * MINUTES_A_YEAR, rel=1e-9)
        assert row.without_vote_minutes == pytest.approx(without_vote[row.clusters] * MINUTES_A_YEAR, rel=1e-9)


def test_the_product_of_dependent_terms_would_be_wrong(build, known):
    """Two sites on one host whose nodes are poor: both down together is far more likely than the product says."""
    case = build({"N": ["N-1"]}, [("A", 1, "N-1", None), ("B", 1, "N-1", None)], policy=known)
    case.with_policy(node_availability_percent=90.0, host_availability_percent=50.0)
    found = compute(case.fleet, case.plan)
    each = found.sites[0].minutes / MINUTES_A_YEAR
    both = found.together[1].down_minutes / MINUTES_A_YEAR
    assert both > 1.3 * each**2
    d0, d1, w = 1 - 0.9**2, 0.1**2, 0.02
    up = 0.5 * 0.995 * 0.985
    assert both == pytest.approx(up * ((1 - w) * d1 + w * d0) ** 2 + (1 - up) * d0**2, rel=1e-12)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("split", [False, True])
def test_monte_carlo_within_its_confidence_interval(random_case, seed, split):
    """Every part drawn up or down 100 000 times; each estimate within 4.5 standard errors (about 1 in 150 000)."""
    case = random_case(seed, sites=8, split=split)
    draws, rng = 100_000, np.random.default_rng(seed)
    shares = parts_of(case)
    gone = {part: rng.random(draws) < share for part, share in shares.items()}
    hub_of = dict(case.hosts)
    down, without = np.zeros(draws, dtype=int), np.zeros(draws, dtype=int)
    by_site = defaultdict(lambda: np.zeros(draws, dtype=int))
    for row in case.plan.assignments:
        hub = hub_of[row.host]
        vote = ~(gone["uplink", row.site] | gone["host", row.host] | gone["hub", hub] | gone["hub uplink", hub])
        for _ in range(row.clusters):
            nodes = (rng.random((2, draws)) >= 0.01).sum(axis=0)
            stopped = (nodes + vote) < 2
            down += stopped
            by_site[row.site] += stopped
            without += ~vote
    found = compute(case.fleet, case.plan)

    def within(estimate, minutes):
        share = minutes / MINUTES_A_YEAR
        error = math.sqrt(max(share * (1 - share), 1 / draws) / draws)
        return abs(estimate - share) <= 4.5 * error

    for row in found.together:
        assert within((down >= row.clusters).mean(), row.down_minutes), row
        assert within((without >= row.clusters).mean(), row.without_vote_minutes), row
    for site in found.sites:
        assert within((by_site[site.site] > 0).mean(), site.any_minutes), site


def test_the_distribution_adds_up_to_the_mean(random_case):
    """The mean of a count is the sum of the probabilities of at least 1, 2, 3, ..."""
    from planner.resilience.uptime.rows import read_rows
    from planner.resilience.uptime.together import number_hit

    for seed in range(20):
        case = random_case(seed, split=seed % 2 == 1)
        rows = read_rows(case.fleet, case.plan)
        node = rows.share("node")
        exactly = number_hit(rows, node**2, 1 - (1 - node) ** 2)
        assert exactly.sum() == pytest.approx(1.0, abs=1e-12)
        mean = float((exactly * np.arange(len(exactly))).sum())
        assert mean == pytest.approx(float((rows.cluster_down() * rows.clusters).sum()), rel=1e-9)


def test_an_unserved_site_needs_both_of_its_nodes(build, known):
    case = build({"N": ["N-1"]}, [("A", 1, "N-1", None)], unserved=("B",), policy=known)
    served, unserved = compute(case.fleet, case.plan).sites
    assert unserved.minutes == pytest.approx((1 - 0.99**2) * MINUTES_A_YEAR)
    assert unserved.hosts == ()
    assert served.minutes < unserved.minutes


def test_the_share_of_a_part_is_what_goes_when_it_never_fails(random_case, known):
    case = random_case(3)
    found = compute(case.fleet, case.plan)
    shares = {(share.part, share.name): share for share in found.parts}
    for part in ("site_uplink", "host", "hub", "hub_uplink"):
        perfect = case.fleet.replace(policy=case.fleet.policy.replace(**{f"{part}_availability_percent": 100.0}))
        saved = found.cluster_minutes - compute(perfect, case.plan).cluster_minutes
        assert shares[part, ""].cluster_minutes == pytest.approx(saved, rel=1e-9)
        assert shares[part, ""].share == pytest.approx(saved / found.cluster_minutes, rel=1e-9)
    named = sum(share.cluster_minutes for (part, name), share in shares.items() if part == "host" and name)
    assert named == pytest.approx(shares["host", ""].cluster_minutes, rel=1e-9)
    # One node that never fails leaves one node and the vote: down when both of these are.
    node, vote = 0.01, found.sites[0].vote_minutes / MINUTES_A_YEAR
    clusters = found.clusters
    left = found.cluster_minutes - clusters * node * vote * MINUTES_A_YEAR
    assert shares["node", ""].cluster_minutes == pytest.approx(left, rel=1e-9)


def test_without_figures_nothing_is_computed_and_what_to_fill_in_is_said(build):
    case = build({"N": ["N-1"]}, [("A", 1, "N-1", None), ("B", 1, "N-1", None)])
    found = compute(case.fleet, case.plan)
    assert (found.sites, found.clusters, found.together, found.parts, found.mean_availability) == ((), 0, (), (), None)
    assert {missing.part for missing in found.missing} == {"node", "site_uplink", "host", "hub", "hub_uplink"}
    (node,) = [missing for missing in found.missing if missing.part == "node"]
    assert (node.sheet, node.rows) == ("Sites", 2)
    assert "node_availability_percent, or node_mtbf_hours and node_mttr_hours" in node.words
    assert found.left_out == 2


def test_sites_that_lack_a_figure_are_left_out_and_the_rest_is_computed(build, known):
    case = build({"N": ["N-1"]}, [("A", 1, "N-1", None), ("B", 1, "N-1", None)], policy=known)
    case.with_policy(node_availability_percent=None).with_column("sites", "node_availability_percent", [99.0, np.nan])
    found = compute(case.fleet, case.plan)
    assert [site.site for site in found.sites] == ["A"]
    assert [(m.part, m.rows) for m in found.missing] == [("node", 1)]
    assert found.left_out == 1


@pytest.mark.parametrize(
    ("row", "policy", "down"),
    [
        ({"node_availability_percent": 90.0}, {"node_availability_percent": 99.0}, 0.1),
        ({"node_availability_percent": 90.0, "node_mtbf_hours": 1.0, "node_mttr_hours": 1.0}, {}, 0.1),
        ({"node_mtbf_hours": 9.0}, {"node_mttr_hours": 1.0, "node_availability_percent": 50.0}, 0.1),
        ({"node_mttr_hours": 1.0}, {"node_mtbf_hours": 9.0}, 0.1),
        ({"node_mttr_hours": 1.0}, {"node_availability_percent": 90.0}, 0.1),
        ({}, {"node_mtbf_hours": 9.0, "node_mttr_hours": 1.0}, 0.1),
        ({}, {"node_availability_percent": 100.0}, 0.0),
    ],
)
def test_a_rows_own_figures_come_before_the_policys_and_percent_before_hours(build, known, row, policy, down):
    case = build({"N": ["N-1"]}, [("A", 1, "N-1", None)], policy=known)
    case.with_policy(node_availability_percent=None, site_uplink_availability_percent=0.0).with_policy(**policy)
    for name, value in row.items():
        case.with_column("sites", name, [value])
    (site,) = compute(case.fleet, case.plan).sites
    assert site.availability == pytest.approx((1 - down) ** 2, abs=1e-12)  # without an uplink both nodes are needed


def test_of_rows_of_one_hub_that_differ_the_worst_counts(build, known):
    case = build({"N": ["N-1"], "S": ["S-1"]}, [("A", 1, "N-1", None)], policy=known)
    case.with_column("pools", "hub", ["N", "N"]).with_column("pools", "hub_availability_percent", [99.9, 90.0])
    (site,) = compute(case.fleet, case.plan).sites
    up = 0.98 * 0.97 * 0.90 * 0.985
    assert site.vote_minutes == pytest.approx((1 - up) * MINUTES_A_YEAR, rel=1e-12)


def test_too_many_split_sites_are_said_and_not_guessed(build, known):
    rows = [(f"S{n}", 1, host, None) for n in range(9) for host in ("N-1", "N-2")]
    case = build({"N": ["N-1", "N-2"]}, rows, policy=known)
    found = compute(case.fleet, case.plan)
    assert found.together == ()
    assert any("several hosts" in note for note in found.notes)
    assert len(found.sites) == 9


@pytest.mark.parametrize(
    ("up", "repair", "availability"),
    [
        (12, 8, 0.60),  # AV-9: J. Gray, D. P. Siewiorek, High-Availability Computer Systems, IEEE Computer 24(9), 1991
        (1000, 5, 0.99502488),  # AV-10: 10 failures in 10 000 h; printed as 0.995
    ],
)
def test_availability_from_hours(build, known, up, repair, availability):
    case = build({"H": ["H-1"]}, [("S", 1, "H-1", None)], policy=known)
    case.with_policy(node_availability_percent=None, node_mtbf_hours=up, node_mttr_hours=repair)
    case.with_policy(site_uplink_availability_percent=0.0)  # so that the cluster is up while both nodes are
    (site,) = compute(case.fleet, case.plan).sites
    assert site.availability == pytest.approx(availability**2, abs=1e-8)
