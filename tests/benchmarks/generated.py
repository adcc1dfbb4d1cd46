"""Generated fleets of any size, built from typed arrays: reading workbooks of 100,000 sites is not what is measured."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from typing import Literal

import click
import numpy as np
import numpy.typing as npt
import pandas as pd

from planner import columns
from planner.columns import Sheet
from planner.fleet import Fleet, Policy, typed_table
from sample_fleets.random_fleet import generate

SEED = 1
CAP = 64
_BLOCK = 10_000  # sites drawn at a time, so that 100,000 x 300 distances need not be in memory at once

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def towns(size: str, *, mixed_caps: bool = False, kept_together: float = 0.0) -> Fleet:
    """Return the fleet of ``sample_fleets.random_fleet`` of ``size`` (``"1000x40"``); every site can be served."""
    sites, hubs = read_size(size)
    tables = generate(
        sites, hubs, SEED, mixed_caps=mixed_caps, kept_together=kept_together, cluster_cap=CAP, unservable=0
    )
    return _fleet_of_tables(tables)


def plain(size: str, *, budgets_ms: tuple[float, float], cap: int = CAP, most: int | None = None) -> Fleet:
    """Return sites and hubs uniform in a square of 1,000 by 1,000, RTT = 2 + 0.06 distance U(0.7, 1.6) ms.

    Budgets are uniform in ``budgets_ms``, raised where a site would reach no hub. Pairs beyond the largest budget are
    not listed: nobody can use them. A pool may run ``most`` hosts, by default as many as could be needed.
    """
    sites, hubs = read_size(size)
    rng = np.random.Generator(np.random.PCG64(SEED))
    hub_at, budget = rng.uniform(0, 1000, (hubs, 2)), rng.uniform(*budgets_ms, sites)
    found = []
    for first in range(0, sites, _BLOCK):
        rtt_ms = _rtt_ms(rng, min(_BLOCK, sites - first), hub_at)
        block = budget[first : first + _BLOCK]
        np.maximum(block, rtt_ms.min(axis=1), out=block)
        site, hub = np.nonzero(rtt_ms <= np.maximum(block, budgets_ms[1])[:, None])
        found.append((site + first, hub, rtt_ms[site, hub]))
    return _fleet_of_pairs(hubs, budget, found, cap, most)


def nearby(size: str, *, eligible: int) -> Fleet:
    """Return a fleet like `plain` in which each site reaches the ``eligible`` nearest hubs; only these are listed."""
    sites, hubs = read_size(size)
    eligible = min(eligible, hubs)
    rng = np.random.Generator(np.random.PCG64(SEED))
    hub_at, budget = rng.uniform(0, 1000, (hubs, 2)), np.empty(sites)
    found = []
    for first in range(0, sites, _BLOCK):
        rtt_ms = _rtt_ms(rng, min(_BLOCK, sites - first), hub_at)
        hub = np.sort(np.argpartition(rtt_ms, eligible - 1, axis=1)[:, :eligible], axis=1)
        reached = np.take_along_axis(rtt_ms, hub, axis=1)
        budget[first : first + _BLOCK] = reached.max(axis=1)
        found.append((np.repeat(np.arange(len(hub)), eligible) + first, hub.ravel(), reached.ravel()))
    return _fleet_of_pairs(hubs, budget, found, CAP, None)


def few_hubs(size: str, *, mixed_caps: bool = False, kept: bool = False) -> Fleet:
    """Return sites uniform in a square that reach about a sixth of the hubs, two at least; at most 10 hosts at a hub.

    RTT = 4 + 0.05 distance, times U(0.9, 1.3); budgets 16 U(0.7, 1.4) ms, raised where a site would reach one hub.
    ``mixed_caps``: 20, 32 or 64, else `CAP`. ``kept``: half of the sites have 2, 3 or 5 clusters, which stay together.
    """
    sites, hubs = read_size(size)
    rng = np.random.Generator(np.random.PCG64(SEED))
    site_at, hub_at = rng.uniform(0, 1000, (sites, 2)), rng.uniform(0, 1000, (hubs, 2))
    distance = np.hypot(site_at[:, None, 0] - hub_at[None, :, 0], site_at[:, None, 1] - hub_at[None, :, 1])
    rtt_ms = np.round((4 + 0.05 * distance) * rng.uniform(0.9, 1.3, distance.shape), 2)
    budget_ms = np.maximum(16 * rng.uniform(0.7, 1.4, sites), np.sort(rtt_ms, axis=1)[:, 1])
    site, hub = np.nonzero(rtt_ms <= budget_ms[:, None])
    fleet = _fleet_of_pairs(hubs, budget_ms, [(site, hub, rtt_ms[site, hub])], CAP, 10)
    clusters = rng.choice([1, 1, 1, 2, 3, 5], sites) if kept else np.ones(sites)
    caps = rng.choice([20, 32, CAP], hubs) if mixed_caps else np.full(hubs, CAP)
    return fleet.replace(
        sites=fleet.sites.assign(clusters=clusters.astype(np.float64)),
        pools=fleet.pools.assign(cluster_cap=caps.astype(np.float64)),
    )


def _fleet_of_pairs(
    hubs: int, budget_ms: Floats, found: list[tuple[Ints, Ints, Floats]], cap: int, most: int | None
) -> Fleet:
    """Return sites with ``budget_ms`` (S,) and the pairs of ``found``: sites, hubs and RTT of each block."""
    sites = len(budget_ms)
    site_of, hub_of, rtt_of = (np.concatenate(parts) for parts in zip(*found, strict=True))
    site_ids, hub_ids = (
        [f"{letter}{number:06d}" for number in range(count)] for letter, count in (("S", sites), ("H", hubs))
    )
    return Fleet(
        sites=typed_table(columns.SITES, {"site": site_ids, "latency_budget_ms": budget_ms}),
        pools=typed_table(
            columns.HUBS,
            {
                "hub": hub_ids,
                "pool": hub_ids,
                "cluster_cap": np.full(hubs, cap),
                "max_hosts": np.full(hubs, -(-sites // cap) if most is None else most),
            },
        ),
        latency=typed_table(
            columns.LATENCY,
            {
                "site": pd.Categorical.from_codes(site_of, site_ids),
                "hub": pd.Categorical.from_codes(hub_of, hub_ids),
                "rtt_ms": rtt_of,
            },
        ),
    )


def cover(size: str) -> Fleet:
    """Return the fleet of `plain` in which one host at a hub takes all: the fewest hubs that cover every site."""
    sites, _ = read_size(size)
    return plain(size, budgets_ms=(12, 30), cap=sites, most=1)


def standing_by(size: str, *, build: Callable[[str], Fleet], loss: Literal["host", "hub", "zone"]) -> Fleet:
    """Return the fleet that ``build`` makes, in which standbys have room after any one ``loss``: policy ``cover``."""
    fleet = build(size)
    return fleet.replace(policy=dataclasses.replace(fleet.policy, cover=loss))


def read_size(size: str) -> tuple[int, int]:
    """Return (sites, hubs) of ``"1000x40"``; a thousands comma is allowed. click.BadParameter for anything else."""
    found = re.fullmatch(r"(\d+)\s*[x×]\s*(\d+)", size.replace(",", "").strip())
    if found is None or not int(found[1]) or not int(found[2]):
        raise click.BadParameter(f"{size!r} is no size; write sites x hubs, for example 1000x40")
    return int(found[1]), int(found[2])


def _rtt_ms(rng: np.random.Generator, sites: int, hub_at: Floats) -> Floats:
    site_at = rng.uniform(0, 1000, (sites, 2))
    distance = np.hypot(site_at[:, None, 0] - hub_at[None, :, 0], site_at[:, None, 1] - hub_at[None, :, 1])
    return np.round(2 + 0.06 * distance * rng.uniform(0.7, 1.6, distance.shape), 3)


def _fleet_of_tables(tables: dict[str, pd.DataFrame]) -> Fleet:
    """Return the tables of the generator as a Fleet; they are known to be sound, so nothing is validated."""
    settings = dict(zip(tables["Policy"]["setting"], tables["Policy"]["value"], strict=True))
    pools = tables["Hubs"].assign(pool=tables["Hubs"]["hub"])
    return Fleet(
        sites=_typed(columns.SITES, tables["Sites"]),
        pools=_typed(columns.HUBS, pools),
        latency=_typed(columns.LATENCY, tables["Latency"]),
        current=_typed(columns.CURRENT, tables["Current"]),
        policy=Policy(**settings),
    )


def _typed(sheet: Sheet, table: pd.DataFrame) -> pd.DataFrame:
    """Return ``table`` with the types of a Fleet: lists of ids are text in the generator's tables."""
    values = {name: table[name].array for name in table.columns}
    for column in sheet.columns:
        if column.kind == "ids" and column.name in values:
            values[column.name] = [tuple(filter(None, text.split(";"))) for text in table[column.name]]
    return typed_table(sheet, values)
