"""Fleets for the sizing tests: typed tables straight from arrays, so that sizing is tested without intake."""

from types import SimpleNamespace

import pytest

from planner import columns
from planner.fleet import Fleet, typed_table
from planner.verify import verify
from tests.arrays import fleet_of
from tests.how_many import EXAMPLES


def sound(fleet: Fleet, plan) -> None:
    """Assert that the independent verifier finds nothing and that a plan called optimal is."""
    assert [str(v) for v in verify(fleet, plan) if v.severity == "violation"] == []


def covered(fleet: Fleet, plan, weights) -> tuple[float, float, int]:
    """Return the weight served, the weight with a standby, and the hosts; ``weights`` are those of the sites."""
    weight = dict(zip(fleet.site_ids, weights, strict=True))
    served = sum(weight[a.site] for a in plan.assignments)
    return served, sum(weight[a.site] for a in plan.assignments if a.standby), plan.hosts


@pytest.fixture(scope="session")
def make():
    return SimpleNamespace(
        fleet=fleet_of, sound=sound, covered=covered, pools=lambda table: typed_table(columns.HUBS, table)
    )


@pytest.fixture(scope="session")
def examples() -> int:
    """Random cases of each kind; CASTINGVOTE_EXAMPLES asks for more than the everyday suite runs."""
    return EXAMPLES
