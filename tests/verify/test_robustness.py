"""A plan from a file that people have edited is answered, whatever stands in it; and the answer comes fast."""

import dataclasses
import time

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.plan import Assignment, Host, NoHostNeeded, Plan, Reason, Unserved
from planner.verify import CODES, verify
from tests.how_many import tries

_WORDS = ("", "A", "B", "C", "N", "S", "N-01", "S-01", "=1+1", "8.4", "12", "move", "keep", "optimal", "hosts", "cost")
_NUMBERS = (0, 1, 2, -1, 1.5, 10**400, float("nan"), float("inf"), -float("inf"))
_CELLS = st.sampled_from((None, True, "x" * 300, *_WORDS, *_NUMBERS))
_ENTRIES = (Host, Assignment, Unserved, NoHostNeeded)
_FIELDS = {entry: [field.name for field in dataclasses.fields(entry)] for entry in _ENTRIES}
_TOTALS = ("status", "objective", "objective_value", "lower_bound")


@st.composite
def edited(draw: st.DrawFn, entries: tuple) -> tuple:
    """Some cells of some entries changed to anything; some entries lost or doubled."""
    changed = []
    for entry in entries:
        fields = [name for name in _FIELDS[type(entry)] if name != "reasons"]
        cells = draw(st.dictionaries(st.sampled_from(fields), _CELLS, max_size=3))
        changed += [dataclasses.replace(entry, **cells)] * draw(st.sampled_from([1, 1, 1, 0, 2]))
    return tuple(changed)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    deadline=None,
    max_examples=tries(20),
)
@given(data=st.data(), policy=st.fixed_dictionaries({}, optional={"cover": st.sampled_from(["host", "hub"])}))
def test_nothing_that_a_cell_can_hold_raises(desk, data, policy) -> None:
    plan = desk.plan.replace(
        host_list=data.draw(edited(desk.plan.host_list)),
        assignments=data.draw(edited(desk.plan.assignments)),
        unserved=data.draw(edited((Unserved("C", 3, (Reason("latency", ""),)), Unserved("Z", 1, ())))),
        no_host_needed=data.draw(edited(desk.plan.no_host_needed)),
        **data.draw(st.dictionaries(st.sampled_from(_TOTALS), _CELLS, max_size=3)),
    )
    fleet = desk.fleet.replace(policy=desk.fleet.policy.replace(**policy))
    for violation in verify(fleet, plan):
        assert violation.code in CODES
        assert str(violation)


def test_an_empty_plan_for_an_empty_fleet_holds() -> None:
    fleet = Fleet(typed_table(columns.SITES, {}), typed_table(columns.HUBS, {}))
    assert verify(fleet, Plan("optimal", "hosts", 0, 0, (), ())) == ()


@pytest.fixture(scope="module")
def large() -> tuple[Fleet, Plan]:
    """5,000 sites by 100 hubs, every pair known; site i on hub i % 100."""
    sites, hubs = [f"{i:04d}" for i in range(5000)], [f"H{j:02d}" for j in range(100)]
    latency = {"site": np.repeat(sites, 100), "hub": np.tile(hubs, 5000), "rtt_ms": np.full(500_000, 20.0)}
    fleet = Fleet(
        typed_table(columns.SITES, {"site": sites, "release": ["8.2"] * 5000}),
        typed_table(columns.HUBS, {"hub": hubs, "pool": hubs}),
        typed_table(columns.LATENCY, latency),
        policy=Policy(latency_budget_ms=40, release_floor="8.0"),
    )
    return fleet, Plan(
        "feasible",
        "hosts",
        100,
        79,
        tuple(Host(f"{hub}-01", hub, hub, "", 50, 64, 64, False) for hub in hubs),
        tuple(
            Assignment(site, f"{hubs[i % 100]}-01", hubs[i % 100], 1, 20.0, 40.0, "measured")
            for i, site in enumerate(sites)
        ),
    )


def test_five_thousand_sites_take_about_a_second(large) -> None:
    fleet, plan = large
    start = time.perf_counter()
    assert verify(fleet, plan) == ()
    assert time.perf_counter() - start < 5  # 0.4 s on two free cores; room for a busy machine
