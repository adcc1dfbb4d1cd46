"""Votes and availability against published values; the names in brackets are those of the sources' examples."""

import itertools
import math

import numpy as np
import pytest
from scipy.integrate import quad

from planner.resilience.uptime.down_times import MINUTES_A_YEAR
from planner.resilience.uptime.votes import at_least, cluster_down


def every_subset(k, ups):
    """NIST/SEMATECH e-Handbook 8.1.8.4, "R out of N model", in its words: the sum over all surviving subsets."""
    total = 0.0
    for state in itertools.product((True, False), repeat=len(ups)):
        if sum(state) >= k:
            total += math.prod(up if works else 1 - up for up, works in zip(ups, state, strict=True))
    return total


@pytest.mark.parametrize("n", [1, 2, 3, 4, 7])
def test_k_of_n_is_the_formula_of_nist_for_parts_that_are_alike(n):  # AV-1
    for k in range(n + 1):
        for p in (0.0, 0.3, 0.9, 0.999, 1.0):
            formula = sum(math.comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(k, n + 1))
            assert float(at_least(k, [p] * n)) == pytest.approx(formula, abs=1e-14)


def test_k_of_n_is_the_sum_over_surviving_subsets_for_parts_that_differ():  # AV-6
    rng = np.random.default_rng(4)
    for _ in range(100):
        ups = rng.random(rng.integers(1, 7)).tolist()
        k = int(rng.integers(0, len(ups) + 1))
        assert float(at_least(k, ups)) == pytest.approx(every_subset(k, ups), abs=1e-14)


@pytest.mark.parametrize(
    ("k", "ups", "expected", "tolerance"),
    [
        # AV-2: Reliability Analytics, "Reliability modeling: k out of n configurations" (2011), four displays
        (3, [0.9] * 4, 0.9477, 1e-12),
        # AV-3: course solution on k-out-of-n redundancy, four engines; printed to four places
        (3, [0.97] * 4, 0.9948, 5e-5),
        # AV-4: Reliability Engineering: Basic Concepts and Applications in ICT (Springer 2011), 3.4, Example 9: inputs
        # and formula 3R^2 - 2R^3 from there, the value computed
        (2, [math.exp(-3e-5 * 1e4)] * 3, 0.833296, 5e-7),
        # AV-13: three votes of one each, two needed, copies up 0.99 (after Gifford, Weighted Voting, SOSP 1979)
        (2, [0.99] * 3, 1 - 2.98e-4, 1e-12),
        # AV-5: from AV-1
        (2, [0.9] * 3, 0.972, 1e-12),
        (2, [0.9999] * 3, 0.999999970002, 1e-15),
    ],
)
def test_examples(k, ups, expected, tolerance):
    assert float(at_least(k, ups)) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(
    ("node", "vote", "up"),
    [
        (0.999, 0.99, 0.99997902),  # AV-7
        (0.99, 0.95, 0.99891),  # AV-7
        (0.999, 0.0, 0.998001),  # without a third vote both nodes are needed
        (0.999, 1.0, 0.999999),  # with one that never fails either node will do
    ],
)
def test_a_cluster_of_two_nodes_and_a_third_vote(node, vote, up):
    assert 1 - float(cluster_down(1 - node, 1 - vote)) == pytest.approx(up, abs=1e-12)


def test_the_majority_of_three_different_votes_in_closed_form():  # AV-6: ab + ac + bc - 2abc
    a, b, c = np.random.default_rng(1).random((3, 1000))
    assert at_least(2, (a, b, c)) == pytest.approx(a * b + a * c + b * c - 2 * a * b * c, abs=1e-14)


def test_a_majority_that_is_down_is_the_majority_of_what_is_down():
    ups = np.random.default_rng(2).random((3, 1000))
    assert 1 - at_least(2, ups) == pytest.approx(at_least(2, 1 - ups), abs=1e-14)


@pytest.mark.parametrize("rho", [0.1, 0.01])
def test_three_copies_with_repair(rho):  # AV-15: (1 + 3 rho) / (1 + rho)^3 with rho = failure rate / repair rate
    assert float(at_least(2, [1 / (1 + rho)] * 3)) == pytest.approx((1 + 3 * rho) / (1 + rho) ** 3, abs=1e-14)


def test_two_copies_and_a_vote_only_member_are_as_available_as_three_copies():
    """AV-14: J.-F. Paris, Voting with Witnesses, ICDCS 1986: so in his abstract, where currency of data is left out."""
    assert float(cluster_down(0.01, 0.01)) == pytest.approx(1 - float(at_least(2, [0.99] * 3)), abs=1e-14)


def test_the_mean_life_of_two_out_of_three_without_repair():  # AV-8: 5 / (6 lambda); textbook result, from memory
    rate = 3e-5
    life, _ = quad(lambda t: float(at_least(2, [math.exp(-rate * t)] * 3)), 0, 40 / rate)
    assert life == pytest.approx(5 / (6 * rate), rel=1e-6)
    assert life == pytest.approx(27_777.8, abs=0.1)


@pytest.mark.parametrize(("percent", "minutes"), [(99.0, 5256), (99.9, 525.6), (99.99, 52.56), (99.999, 5.256)])
def test_minutes_of_a_year_of_365_days(percent, minutes):  # AV-11
    assert (1 - percent / 100) * MINUTES_A_YEAR == pytest.approx(minutes, abs=1e-6)
