"""A small fleet and a plan for it that holds, on a desk where a test can change either."""

from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from planner import columns
from planner.fleet import Fleet, Policy, Source, typed_table
from planner.plan import Assignment, Host, NoHostNeeded, Plan
from planner.verify import Violation, verify

FLEET = Fleet(
    sites=typed_table(
        columns.SITES,
        {
            "site": ["A", "B", "C", "D", "E", "F"],
            "region": [" north ", "North", "South", "North", "North", "North"],
            "latitude": [54.0, 54.5, 51.5, 54.0, 54.0, 54.0],
            "longitude": [-2.0] * 6,
            "clusters": [1, 2, 3, 1, 0, 1],
            "release": ["8.2", "8.3", "8.4", "", "", "8.2"],
            "zone": [("power-a",), (), (), (), (), ()],
            "own_tie_breaker": ["no", "", "no", "yes", "no", "possible"],
        },
    ),
    pools=typed_table(
        columns.HUBS,
        {
            "hub": ["N", "S"],
            "pool": ["N", "S"],
            "latitude": [55.5, 50.0],
            "longitude": [-2.0] * 2,
            "zone": [("power-n",), ()],
            "max_hosts": [2, 2],
            "existing_hosts": [1, float("nan")],
            "host_release": ["8.4", ""],
            "host_cost": [100, 120],
            "serves_regions": [("NORTH",), ()],
        },
    ),
    latency=typed_table(
        columns.LATENCY,
        {
            "site": ["A", "A", "B", "B", "C", "C"],
            "hub": ["N", "S"] * 3,
            "rtt_ms": [40, 30, 10, 20, 35, 12.34],
            "loss_percent": [1, 0, None, None, None, None],
            "pair_cost": [5, 6, None, 3, None, 7],
        },
    ),
    current=typed_table(columns.CURRENT, {"site": ["A", "B"], "hub": ["N", "S"], "host": ["N-01", ""]}),
    policy=Policy(
        cluster_cap=10,
        reserve_percent=10,
        latency_budget_ms=40,
        release_floor="8.2",
        host_release="8.4",
        third_location_km=100,
        own_tie_breaker_cost=50,
    ),
    sources=(Source("fleet.xlsx", "aa"),),
)

PLAN = Plan(
    status="optimal",
    objective="hosts",
    objective_value=2,
    lower_bound=2,
    host_list=(
        Host("N-01", "N", "N", "8.4", clusters=3, cap=10, usable=9, existing=True),
        Host("S-01", "S", "S", "8.4", clusters=3, cap=10, usable=9, existing=False),
    ),
    assignments=(
        Assignment("A", "N-01", "N", 1, 40.0, 40.0, "measured", action="keep"),
        Assignment("B", "N-01", "N", 2, 10.0, 40.0, "measured", moved_from="S", action="move"),
        Assignment("C", "S-01", "S", 3, 12.34, 40.0, "measured"),
    ),
    no_host_needed=(
        NoHostNeeded("D", "own_tie_breaker"),
        NoHostNeeded("E", "no_clusters"),
        NoHostNeeded("F", "own_tie_breaker"),
    ),
    sources=(Source("fleet.xlsx", "aa"),),
)


class Desk:
    """``fleet`` and ``plan``, and short ways to change one row of either; each returns the desk."""

    def __init__(self) -> None:
        self.fleet, self.plan = FLEET, PLAN

    def sheet(self, name: str, key: dict[str, str], **changes: Any) -> "Desk":
        table = getattr(self.fleet, name).copy()
        at = int(pd.concat([table[column] == value for column, value in key.items()], axis=1).all(axis=1).argmax())
        for column, value in changes.items():
            values = table[column].tolist()
            values[at] = value
            table[column] = pd.Series(values, dtype=table[column].dtype)
        self.fleet = self.fleet.replace(**{name: table})
        return self

    def site(self, name: str, /, **changes: Any) -> "Desk":
        return self.sheet("sites", {"site": name}, **changes)

    def pool(self, name: str, /, **changes: Any) -> "Desk":
        return self.sheet("pools", {"pool": name}, **changes)

    def pair(self, site: str, hub: str, /, **changes: Any) -> "Desk":
        return self.sheet("latency", {"site": site, "hub": hub}, **changes)

    def today(self, name: str, /, **changes: Any) -> "Desk":
        return self.sheet("current", {"site": name}, **changes)

    def policy(self, **changes: Any) -> "Desk":
        self.fleet = self.fleet.replace(policy=self.fleet.policy.replace(**changes))
        return self

    def of_plan(self, **changes: Any) -> "Desk":
        self.plan = self.plan.replace(**changes)
        return self

    def host(self, name: str, /, **changes: Any) -> "Desk":
        return self.of_plan(host_list=_changed(self.plan.host_list, "host", name, changes))

    def row(self, name: str, /, **changes: Any) -> "Desk":
        return self.of_plan(assignments=_changed(self.plan.assignments, "site", name, changes))

    def own(self, name: str, /, **changes: Any) -> "Desk":
        return self.of_plan(no_host_needed=_changed(self.plan.no_host_needed, "site", name, changes))

    def without_row(self, name: str) -> "Desk":
        return self.of_plan(assignments=tuple(row for row in self.plan.assignments if row.site != name))

    def everything(self) -> tuple[Violation, ...]:
        return verify(self.fleet, self.plan)

    def found(self) -> list[tuple[str, str]]:
        """Code and place of each violation; notes are left out."""
        return [(v.code, v.where) for v in self.everything() if v.severity == "violation"]


def _changed(entries: tuple, field: str, name: str, changes: dict[str, Any]) -> tuple:
    return tuple(replace(entry, **changes) if getattr(entry, field) == name else entry for entry in entries)


@pytest.fixture
def desk() -> Desk:
    return Desk()
