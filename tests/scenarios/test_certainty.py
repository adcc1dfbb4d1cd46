"""Certainty under uncertain RTT: draws agree with the closed form, intervals cover it, seeds repeat."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from planner.scenarios.certainty import Uncertainty, certainty_of
from planner.scenarios.task import Options
from planner.sizing import plan

RTT = [[30.0], [40.0], [45.0], [49.0]]


def sure(make, uncertainty, rtt=RTT, **fleet):
    made = make.fleet(rtt, **fleet)
    return certainty_of(made, made, plan(made), uncertainty)


def chance(rtt, budget, percent):
    """Chance that a log-normal RTT of median ``rtt`` is within ``budget``: its distribution function."""
    return norm.cdf(math.log(budget / rtt) / math.sqrt(math.log1p((percent / 100) ** 2)))


@pytest.mark.parametrize("percent", [5.0, 20.0, 60.0])
def test_draws_agree_with_the_closed_form(make, percent):
    found = sure(make, Uncertainty(percent, draws=20_000, seed=3))
    each = [chance(row[0], 50.0, percent) for row in RTT]
    assert found.within == pytest.approx(np.mean(each), abs=0.01)
    assert found.all_within == pytest.approx(math.prod(each), abs=0.015)
    assert found.within_low < found.within < found.within_high
    assert found.all_low < found.all_within < found.all_high


def test_95_percent_intervals_cover_the_truth_about_that_often(make):
    made = make.fleet(RTT)
    made_plan = plan(made)
    each = [chance(row[0], 50.0, 20.0) for row in RTT]
    found = [certainty_of(made, made, made_plan, Uncertainty(20.0, draws=200, seed=s)) for s in range(300)]
    share = np.mean([c.within_low <= np.mean(each) <= c.within_high for c in found])
    every = np.mean([c.all_low <= math.prod(each) <= c.all_high for c in found])
    # 300 intervals: five standard errors around 0.95 are 0.063.
    assert 0.887 <= share <= 1.0
    assert 0.887 <= every <= 1.0


def test_what_all_pairs_of_a_hub_share_does_not_average_out(make):
    alone = sure(make, Uncertainty(20.0, draws=5000))
    together = sure(make, Uncertainty(0.0, 20.0, draws=5000))
    assert together.within == pytest.approx(alone.within, abs=0.02)
    # All are within budget when the worst is: one chance instead of a product of four.
    assert together.all_within == pytest.approx(chance(49.0, 50.0, 20.0), abs=0.025)
    assert together.all_within > alone.all_within + 0.1


def test_the_same_seed_gives_the_same_and_another_another(make):
    one, same, other = (sure(make, Uncertainty(20.0, draws=500, seed=s)) for s in (1, 1, 2))
    assert one == same
    assert one != other


def test_without_spread_everybody_is_sure(make):
    found = sure(make, Uncertainty(0.0, draws=10), rtt=[[50.0], [10.0]])
    assert (found.within, found.all_within) == (1.0, 1.0)
    assert found.all_low < 1.0  # ten draws prove little


def test_probes_are_drawn_where_there_are_some_and_lost_ones_are_late(make):
    probes = {
        "site": ["S00"] * 10,
        "hub": ["H0"] * 10,
        "at": pd.to_datetime(["2027-01-01"] * 10),
        "rtt_ms": [10.0] * 7 + [60.0, 70.0, np.nan],
    }
    # The 70th percentile is 10 ms, so the site is served; the Latency sheet knows nothing of it.
    found = sure(
        make,
        Uncertainty(0.0, draws=4000),
        rtt=[[np.nan], [10.0]],
        samples=probes,
        percentile=70.0,
        max_loss_percent=50.0,
    )
    assert found.all_within == pytest.approx(0.7, abs=0.03)
    assert found.within == pytest.approx(0.85, abs=0.015)


def test_more_hosts_buy_more_certainty(make):
    # The near hubs hold one cluster each; the far one holds all, close to the budget.
    rtt = [[48.0, 20.0, 90.0], [48.0, 90.0, 20.0]]
    fleet = make.fleet(rtt, cluster_cap=2)
    points = make.swept(fleet, "sites.latency_budget_ms=x0.5,x1", options=options(Uncertainty(20.0, draws=2000)))
    tight, loose = points["sites.latency_budget_ms=x0.5"].figures, points["sites.latency_budget_ms=x1"].figures
    assert (tight.hosts, loose.hosts) == (2, 1)
    assert tight.certainty.all_within > 0.99
    assert loose.certainty.all_within < 0.6


def test_a_fleet_without_assignments_has_no_certainty(make):
    assert sure(make, Uncertainty(20.0), rtt=[[90.0]]) is None


def options(uncertainty):
    return Options(uncertainty=uncertainty)
