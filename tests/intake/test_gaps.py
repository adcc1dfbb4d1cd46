"""Pairs without a round-trip time among measured ones are named."""

import pandas as pd

import planner


def noted(blank):
    """What is said of a fleet of ten sites and three hubs in which the pairs ``blank`` have no round-trip time."""
    pairs = [(f"S{site}", f"H{hub}") for site in range(10) for hub in range(3)]
    times = [None if pair in blank else 10.0 for pair in pairs]
    fleet = planner.fleet_from_tables(
        {
            "Sites": pd.DataFrame({"site": [f"S{site}" for site in range(10)]}),
            "Hubs": pd.DataFrame({"hub": ["H0", "H1", "H2"]}),
            "Latency": pd.DataFrame(pairs, columns=["site", "hub"]).assign(rtt_ms=times),
        },
        {"latency_budget_ms": 50, "cluster_cap": 5},
    )
    return [(finding.severity, finding.message) for finding in fleet.findings if finding.code == "latency_gaps"]


def test_a_few_gaps_in_a_matrix_are_named():
    words = "2 pairs of site and hub have no round-trip time: S3 to H1, S8 to H0."
    assert noted({("S3", "H1"), ("S8", "H0")}) == [("info", words)]


def test_no_gap_and_hubs_that_most_sites_were_not_measured_to_are_not_said():
    assert noted(set()) == []
    assert noted({(f"S{site}", "H2") for site in range(1, 10)}) == []
