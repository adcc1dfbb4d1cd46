from collections.abc import Callable, Mapping
from typing import Any

import pytest

from planner import columns
from planner.fleet import Fleet, Policy, typed_table
from planner.latency import EVIDENCE, resolve

Table = Mapping[str, Any]


@pytest.fixture
def fleet_of() -> Callable[..., Fleet]:
    """Build a fleet: site and hub ids (or whole tables), the latency sheets, and policy settings by name."""

    def build(
        sites: str | Table,
        hubs: str | Table,
        latency: Table | None = None,
        samples: Table | None = None,
        links: Table | None = None,
        **policy: Any,
    ) -> Fleet:
        return Fleet(
            typed_table(columns.SITES, {"site": sites.split()} if isinstance(sites, str) else sites),
            typed_table(columns.HUBS, {"hub": hubs.split(), "pool": hubs.split()} if isinstance(hubs, str) else hubs),
            latency=typed_table(columns.LATENCY, latency or {}),
            samples=typed_table(columns.SAMPLES, samples or {}),
            links=typed_table(columns.LINKS, links or {}),
            policy=Policy(**policy),
        )

    return build


@pytest.fixture
def rtts() -> Callable[[Fleet], dict[tuple[str, str], float]]:
    """Resolve a fleet and give its RTT by site and hub id."""

    def read(fleet: Fleet) -> dict[tuple[str, str], float]:
        table = resolve(fleet)
        ids = [(fleet.site_ids[site], fleet.hub_ids[hub]) for site, hub in zip(table.site, table.hub, strict=True)]
        return dict(zip(ids, table.rtt_ms.tolist(), strict=True))

    return read


@pytest.fixture
def evidence() -> Callable[[Fleet], list[str]]:
    """Resolve a fleet and give the evidence of its rows."""
    return lambda fleet: [EVIDENCE[position] for position in resolve(fleet).evidence]
