"""Fleets straight from arrays, and a sweep of them in this process."""

from pathlib import Path
from types import SimpleNamespace

import pytest

import planner
from planner.scenarios.sweeping import sweep
from planner.scenarios.vary import axis_of, combined
from tests.arrays import fleet_of

ROOT = Path(__file__).parents[2]
TWELVE_SITES = ROOT / "sample_fleets" / "twelve_sites.xlsx"


def swept(fleet, *options, named=(), **how):
    """The points of a sweep in this process, by name."""
    scenarios = combined([axis_of(option) for option in options], named)
    found = sweep(fleet, scenarios, **{"jobs": 1, **how})
    return {point.scenario.name: point for point in found.points}


@pytest.fixture(scope="session")
def make():
    return SimpleNamespace(fleet=fleet_of, swept=swept)


@pytest.fixture(scope="session")
def twelve_sites():
    """The sample fleet that sample_fleets/README.md solves by hand."""
    return planner.read_fleet(TWELVE_SITES)
