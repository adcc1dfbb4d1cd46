"""Fleets straight from arrays, the sample fleet, and the bench that searches share."""

from functools import partial
from pathlib import Path
from types import SimpleNamespace

import pytest

import planner
from planner.explain.bench import Bench
from planner.rules import Checker
from planner.sizing.instance.problem import build_problem
from planner.sizing.solvers.budget import SolveBudget
from tests.arrays import fleet_of

TWELVE_SITES = Path(__file__).parents[2] / "sample_fleets" / "twelve_sites.xlsx"


def bench_of(fleet) -> Bench:
    checker = Checker(fleet)
    return Bench(fleet, planner.plan(fleet), checker, build_problem(fleet, checker), SolveBudget(), lambda _words: None)


@pytest.fixture(scope="session")
def make():
    return SimpleNamespace(fleet=partial(fleet_of, digits=1), bench=bench_of)


@pytest.fixture(scope="session")
def twelve_sites():
    """The sample fleet that sample_fleets/README.md solves by hand."""
    return planner.read_fleet(TWELVE_SITES)
