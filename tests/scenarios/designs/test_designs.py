"""Designs compared: counts, costs, and flip prices that trying every mix confirms."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import planner
from planner import columns
from planner.errors import InputError
from planner.fleet import Policy, typed_table
from planner.prices import Price
from planner.scenarios.designs.compare_designs import compare_designs
from planner.scenarios.designs.design_sentences import flips_in_words
from planner.scenarios.designs.flips import Line, flip_prices

PRICES = typed_table(
    columns.PRICES,
    {
        "item": ["node", "host", "own_tie_breaker"],
        "buy": [5000.0, 900.0, 300.0],
        "yearly": [200.0, 100.0, np.nan],
        "watts": [250.0, 40.0, 5.0],
        "visits": [0.5, 0.2, np.nan],
    },
)


def by_name(found):
    return {design.name: design for design in found.designs}


def test_two_nodes_are_one_third_fewer_than_three(twelve_sites):
    """Common practice, no source."""
    designs = compare_designs(twelve_sites).designs
    three, *two = designs
    assert all(3 * design.nodes == 2 * three.nodes for design in two)
    assert three.nodes == 36


def test_hosts_of_each_design(twelve_sites):
    designs = by_name(compare_designs(twelve_sites.replace(prices=PRICES)))
    assert designs["two nodes, shared tie-breaker"].hosts == 4
    assert designs["two nodes, dedicated tie-breaker"].hosts == 12
    assert (designs["two nodes, own tie-breaker"].hosts, designs["two nodes, own tie-breaker"].own) == (0, 12)
    assert designs["three nodes"].hosts == 0


def test_costs_are_buying_running_power_and_visits_over_the_years(make):
    fleet = make.fleet([[10.0]] * 3, cluster_cap=2, years=2.0, discount_percent=25.0, kwh_cost=0.5, visit_cost=100.0)
    costs = by_name(compare_designs(fleet.replace(prices=PRICES)))["two nodes, shared tie-breaker"].costs
    # Two hosts and six nodes; a payment of each of two years counts 1 + 1 / 1.25 = 1.8.
    assert costs.buy == pytest.approx(2 * 900 + 6 * 5000)
    assert costs.yearly == pytest.approx(1.8 * (2 * 100 + 6 * 200))
    assert costs.power == pytest.approx(1.8 * 8.76 * 0.5 * (2 * 40 + 6 * 250))
    assert costs.visits == pytest.approx(1.8 * 100 * (2 * 0.2 + 6 * 0.5))
    assert costs.total == pytest.approx(costs.buy + costs.yearly + costs.power + costs.visits)


def test_the_value_of_yearly_payments_is_an_annuity_due():
    """Closed form of the geometric series, C (1 - q^N) / (1 - q); derived, no source."""
    for years, rate in itertools.product((1, 5, 30), (0.0, 4.0, 12.5)):
        q = 1 / (1 + rate / 100)
        expected = years if rate == 0 else (1 - q**years) / (1 - q)
        assert Price(yearly=1.0).worth(Policy(years=float(years), discount_percent=rate)) == pytest.approx(expected)
    assert Price(yearly=1.0).worth(Policy(years=1.5)) == pytest.approx(1.5)


def test_a_site_that_no_host_reaches_takes_its_own_vote_at_every_price(make):
    fleet = make.fleet([[10.0], [10.0], [90.0]], cluster_cap=2)
    found = compare_designs(fleet.replace(prices=PRICES))
    assert by_name(found)["two nodes, shared tie-breaker"].unserved == 1
    assert by_name(found)["two nodes, dedicated tie-breaker"].unserved == 1
    assert found.segments[-1].own_sites == ("S02",)
    assert math.isinf({choice.site: choice for choice in found.choices}["S02"].own_below)


def test_without_prices_flip_prices_are_in_hosts(make):
    found = compare_designs(make.fleet([[10.0]] * 5, cluster_cap=4))
    # Five clusters: five own, or four on one host and one own, or two hosts.
    assert found.unit == "hosts"
    assert [(s.own, s.hosts) for s in found.segments] == [(5, 0), (1, 1), (0, 2)]
    assert [s.high for s in found.segments] == [pytest.approx(0.25), pytest.approx(1.0), math.inf]
    assert all(design.costs is None for design in found.designs)
    assert {note.where for note in found.notes} == {"Prices host", "Prices node", "Prices own_tie_breaker"}


def test_the_mix_costs_no_more_than_any_design_of_its_parts(twelve_sites):
    found = by_name(compare_designs(twelve_sites.replace(prices=PRICES)))
    mix = found["two nodes, best mix"].costs.total
    assert mix <= found["two nodes, shared tie-breaker"].costs.total + 1e-6
    assert mix <= found["two nodes, own tie-breaker"].costs.total + 1e-6


def test_sites_that_have_their_own_vote_are_left_out(make):
    fleet = make.fleet([[10.0]] * 3, sites={"own_tie_breaker": ["yes", "no", "possible"]})
    found = compare_designs(fleet)
    assert {choice.site for choice in found.choices} == {"S01", "S02"}
    assert found.designs[0].nodes == 6


def test_split_sites_are_refused(make):
    with pytest.raises(InputError, match="whole sites"):
        compare_designs(make.fleet([[10.0]], split_sites=True))


def test_few_plans_leave_the_search_incomplete(make):
    found = compare_designs(make.fleet([[10.0]] * 5, cluster_cap=4), most_plans=2)
    assert not found.complete
    assert len(found.segments) == 2


def test_without_time_no_price_is_called_settled(twelve_sites):
    found = compare_designs(twelve_sites, time_limit=0.0)
    assert not found.complete
    assert not any("at every price" in line for line in flips_in_words(found))


def test_flip_prices_are_those_of_the_lower_envelope():
    lines = [Line(float(f), k, 0, True, ()) for f, k in [(0, 12), (2, 7), (5, 4), (5.5, 4), (9, 2), (30, 0), (31, 1)]]
    segments, complete = flip_prices(
        lambda x: min(lines, key=lambda line: (line.at(x), line.own)), 100.0, lambda n: n < 50
    )
    assert complete
    assert [s.own for s in segments] == [12, 7, 4, 2, 0]
    assert [s.high for s in segments] == pytest.approx([0.4, 1.0, 2.0, 10.5, math.inf])


@st.composite
def cases(draw):
    count, width = draw(st.integers(1, 5)), draw(st.integers(1, 2))

    def each(n, strategy):
        return draw(st.lists(strategy, min_size=n, max_size=n))

    return {
        "rtt": np.array(each(count * width, st.sampled_from([10.0, 51.0]))).reshape(count, width),
        "clusters": each(count, st.integers(1, 2)),
        "cap": each(width, st.integers(2, 4)),
        "most": each(width, st.integers(0, 3)),
        "cost": each(width, st.integers(1, 9)),
    }


def cheapest(case, price):
    """Least cost of giving every site a host or its own votes, by trying all ways."""
    count, width = case["rtt"].shape
    options = [["own", *(p for p in range(width) if case["rtt"][s, p] <= 50)] for s in range(count)]
    best = math.inf
    for choice in itertools.product(*options):
        total = sum(price * case["clusters"][s] for s in range(count) if choice[s] == "own")
        for p in range(width):
            bins = fewest_bins([case["clusters"][s] for s in range(count) if choice[s] == p], case["cap"][p])
            total += math.inf if bins > case["most"][p] else bins * case["cost"][p]
        best = min(best, total)
    return best


def fewest_bins(sizes, cap):
    """Fewest bins for items of 1 and 2: first fit decreasing is exact for them."""
    bins = []
    for size in sorted(sizes, reverse=True):
        for at, load in enumerate(bins):
            if load + size <= cap:
                bins[at] += size
                break
        else:
            bins.append(size)
    return len(bins)


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(cases())
def test_segments_are_the_cheapest_mix_at_every_price(make, case):
    fleet = make.fleet(
        case["rtt"],
        sites={"clusters": case["clusters"]},
        pools={"cluster_cap": case["cap"], "max_hosts": case["most"], "host_cost": case["cost"]},
        years=1.0,
    )
    segments = compare_designs(fleet).segments
    assert segments[0].low == 0
    assert math.isinf(segments[-1].high)
    assert all(a.high == b.low and a.own > b.own for a, b in itertools.pairwise(segments))
    inside = [(s.low + min(s.high, s.low + 2)) / 2 for s in segments]
    for price in (*inside, *(s.low for s in segments), 100.0):
        (at,) = [s for s in segments if s.low <= price < s.high]
        assert at.shared_cost + at.own * price == pytest.approx(cheapest(case, price))


def test_the_plan_of_a_segment_is_a_plan_of_the_fleet(twelve_sites):
    found = compare_designs(twelve_sites)
    for segment in found.segments:
        own = twelve_sites.sites["own_tie_breaker"].mask(twelve_sites.sites["site"].isin(segment.own_sites), "yes")
        fleet = twelve_sites.replace(sites=twelve_sites.sites.assign(own_tie_breaker=own))
        assert planner.plan(fleet).hosts <= segment.hosts
