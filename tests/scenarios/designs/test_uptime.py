"""Down time of the designs: by the majority of three (NIST/SEMATECH e-Handbook 8.1.8.4), worked by hand here."""

import pytest

from planner.scenarios.designs.compare_designs import DEDICATED, OWN, SHARED, THREE_NODES, compare_designs

YEAR = 365 * 24 * 60


def designs(fleet):
    return {design.name: design.down_minutes for design in compare_designs(fleet).designs}


def test_two_of_three_votes(make):
    """Nodes up 99 %, hosts 98 %, the rest always: 3 d^2 - 2 d^3 for three nodes, d^2 + 2 d (1 - d) v with a host."""
    figures = {"node_availability_percent": 99.0, "host_availability_percent": 98.0}
    rest = dict.fromkeys(
        ("hub_availability_percent", "hub_uplink_availability_percent", "site_uplink_availability_percent"), 100.0
    )
    found = designs(make.fleet([[5.0, 8.0]] * 3, **figures, **rest))
    assert found[THREE_NODES] == pytest.approx((3 * 0.01**2 - 2 * 0.01**3) * YEAR)
    with_host = (0.01**2 + 2 * 0.01 * 0.99 * 0.02) * YEAR
    assert found[SHARED] == pytest.approx(with_host)
    assert found[DEDICATED] == pytest.approx(with_host)
    assert found[OWN] is None


def test_without_figures_nothing_is_said(make):
    assert set(designs(make.fleet([[5.0, 8.0]] * 3)).values()) == {None}
