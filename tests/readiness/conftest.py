"""One site that is ready, on a bench where a test can change a cell, and what the audit then says."""

from types import SimpleNamespace
from typing import Any

import pytest

import planner
from planner import columns
from planner.fleet import Fleet, Policy, typed_table

SITE = {
    "site": "A",
    "latitude": 54.0,
    "longitude": -2.0,
    "clusters": 2.0,
    "release": "8.4",
    "nodes": 2.0,
    "node_locations": 1.0,
    "node_link": "direct",
    "node_link_gbps": 10.0,
    "node_links": 2.0,
    "service_link_gbps": 1.0,
    "storage_tiers": 2.0,
    "storage_groups": 1.0,
    "cache_devices": 1.0,
    "uplink_mbps": 2.0,
    "tie_breaker_kbps": 100.0,
    "tie_breaker_net": "30",
    "storage_net": "10",
    "management_net": "20",
}
HUB = {"hub": "N", "pool": "N", "latitude": 55.0, "longitude": -2.0}
PAIR = {"site": "A", "hub": "N", "rtt_ms": 12.0}
POLICY = Policy(latency_budget_ms=20, release_floor="8.2", management_floor="8.4")


def table(sheet, rows):
    names = dict.fromkeys(name for row in rows for name in row)
    ids = {column.name for column in sheet.columns if column.kind == "ids"}
    texts = {column.name for column in sheet.columns if column.kind not in ("ids", "whole", "number", "date", "moment")}
    blank = {name: () if name in ids else "" if name in texts else float("nan") for name in names}
    return typed_table(sheet, {name: [row.get(name, blank[name]) for row in rows] for name in names}, len(rows))


class Bench:
    """Rows of sites, hubs and pairs; `audit` builds the fleet from them."""

    def __init__(self) -> None:
        self.sites, self.hubs, self.pairs = [dict(SITE)], [dict(HUB)], [dict(PAIR)]
        self.policy = POLICY

    def site(self, **changes: Any) -> "Bench":
        self.sites[0].update(changes)
        return self

    def hub(self, **changes: Any) -> "Bench":
        self.hubs[0].update(changes)
        return self

    def under(self, **changes: Any) -> "Bench":
        self.policy = self.policy.replace(**changes)
        return self

    def fleet(self) -> Fleet:
        return Fleet(
            table(columns.SITES, self.sites),
            table(columns.HUBS, self.hubs),
            latency=table(columns.LATENCY, self.pairs),
            policy=self.policy,
        )

    def audit(self) -> planner.Readiness:
        return planner.audit(self.fleet())

    def found(self) -> list[tuple[str, str]]:
        """Code and severity of each item of the first site."""
        return [(item.code, item.severity) for item in self.audit().sites[0].items]

    def only(self) -> Any:
        """The one item of the first site."""
        (item,) = self.audit().sites[0].items
        return item


@pytest.fixture
def bench() -> Bench:
    return Bench()


@pytest.fixture(scope="session")
def blank():
    return SimpleNamespace(text="", number=float("nan"))
