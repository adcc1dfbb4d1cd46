"""What each kind of cover takes, like with like."""

import pytest

import planner
from planner.outputs.plan_sentences import cover_prices_in_words
from tests.arrays import fleet_of


@pytest.fixture(scope="module")
def fleet():
    """One site reaches two hubs, and three reach each of them alone: no hub's loss can be covered for these."""
    return fleet_of([[10.0, 12.0]] + [[10.0, 90.0]] * 3 + [[90.0, 10.0]] * 3, cluster_cap=4)


def test_kinds_are_compared_for_the_sites_that_all_of_them_cover(fleet):
    """Cover host took more hosts than cover hub, which leaves six sites without a standby."""
    none, host, hub, zone = planner.cover_prices(fleet)
    assert (host.hosts, hub.hosts) == (4, 2)
    assert (host.covered, hub.covered) == (7, 1)
    assert {price.alike for price in (none, host, hub, zone)} == {1}
    assert [price.alike_value for price in (none, host, hub, zone)] == [1, 2, 2, 2]
    assert [price.alike_bound for price in (none, host, hub, zone)] == [1, 2, 2, 2]


def test_the_words_say_that_the_first_figures_do_not_compare(fleet):
    made = planner.plan(fleet)
    words = cover_prices_in_words(made.replace(cover_prices=planner.cover_prices(fleet, made)))
    assert words.startswith("Cover none: 2 hosts (proven). Cover host: 4 hosts (proven). ")
    assert "Cover hub: 2 hosts (proven), 6 sites without standby." in words
    assert words.endswith(
        "The kinds of cover do not cover the same sites, so do not compare these figures. "
        "To compare, only the 1 site that every kind covers: "
        "none 1 host, host 2 hosts, hub 2 hosts, zone 2 hosts."
    )


def test_moves_are_told_where_the_fleet_says_who_is_where(fleet):
    """Both sites are on one host today: cover asks for a second one, and the fewest moves leave them where they are."""
    today = {"site": ["S00", "S01"], "hub": ["H0", "H0"], "host": ["H0-01", "H0-01"]}
    fleet = fleet_of([[10.0], [10.0]], current=today, cluster_cap=4)
    made = planner.plan(fleet)
    prices = planner.cover_prices(fleet, made)
    assert [(price.moves, price.moves_proven) for price in prices[:2]] == [(0, True), (0, True)]
    words = cover_prices_in_words(made.replace(cover_prices=prices))
    assert "Cover host: 2 hosts (proven), 0 moves (proven)." in words


def test_nothing_is_added_where_all_kinds_cover_the_same_sites():
    fleet = fleet_of([[10.0, 12.0]] * 6, cluster_cap=4)
    made = planner.plan(fleet)
    prices = planner.cover_prices(fleet, made)
    assert [price.alike_value for price in prices] == [price.objective_value for price in prices]
    assert "alone" not in cover_prices_in_words(made.replace(cover_prices=prices))
