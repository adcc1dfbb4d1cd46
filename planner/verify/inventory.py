"""The Fleet as the checks see it: one plain record a site and a pool, with the policy's defaults applied here anew."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Any, NamedTuple

import pandas as pd

from planner.fleet import Fleet, Policy, Source
from planner.verify.own_rules import OwnRules
from planner.verify.pairs import Pairs
from planner.verify.yearly_prices import YearlyPrices


@dataclass(frozen=True, slots=True)
class Site:
    """A row of Sites; numbers are NaN where unknown. ``release`` is the one that the plan is made for."""

    site: str
    region: str
    latitude: float
    longitude: float
    clusters: int
    release: str
    release_today: str
    budget_ms: float
    loss_budget_ms: float
    zones: frozenset[str]
    pinned_hub: str
    barred_hubs: frozenset[str]
    own_tie_breaker: str
    own_cost: float
    nodes: float
    cluster_kbps: float
    weight: Fraction

    @property
    def needs_host(self) -> bool:
        """Whether the site has clusters and no third vote of its own."""
        return self.clusters > 0 and self.own_tie_breaker != "yes"


@dataclass(frozen=True, slots=True)
class Pool:
    """A row of Hubs; numbers are NaN where unknown.

    ``usable`` is the cap less reserve, and not above the clusters that a host's loss may hit; hosts are counted without
    the ``retiring`` ones, by name, and are ``named`` where they are known to run. ``zones`` are those of its hub.
    """

    pool: str
    hub: str
    latitude: float
    longitude: float
    zones: frozenset[str]
    max_hosts: int
    existing_hosts: int
    named: frozenset[str]
    retiring: frozenset[str]
    release: str
    release_today: str
    cap: int
    usable: int
    host_cost: float
    uplink_mbps: float
    serves_regions: frozenset[str]


class HostLimit(NamedTuple):
    """A host of each pool in ``takes`` takes so much of the ``most`` that hosts may take there; ``unit`` says what.

    ``code`` is that of its violation, ``where`` the place.
    """

    code: str
    where: str
    takes: Mapping[str, int]
    most: int
    unit: str


class InForce(NamedTuple):
    """Where Current has a site: host and pool are ``""`` where they are not stated."""

    hub: str
    host: str
    pool: str


@dataclass(frozen=True, slots=True)
class Inventory:
    """Sites and pools by id, known pairs, the policy, and the assignment in force.

    ``whole_weight`` is that of all sites that need a shared host; ``uplinks_kbps`` are those of hubs that state one.
    """

    sites: Mapping[str, Site]
    pools: Mapping[str, Pool]
    current: Mapping[str, list[InForce]]
    policy: Policy
    as_of: dt.date
    sources: tuple[Source, ...]
    pairs: Pairs
    whole_weight: Fraction
    uplinks_kbps: Mapping[str, float]
    host_limits: tuple[HostLimit, ...]
    own: OwnRules

    def uplink_kbps(self, hub: str) -> float:
        """Return the uplink of a hub, the least that its pools state; inf where it is not known."""
        return self.uplinks_kbps.get(hub, math.inf)

    def zones_of_hub(self, hub: str) -> set[str]:
        """Return the failure zones that a hub stands in, each as ``"zone NAME"``, those of all its pools."""
        return {f"zone {zone}" for pool in self.pools.values() if pool.hub == hub for zone in pool.zones}


def read_inventory(fleet: Fleet) -> Inventory:
    """Return ``fleet`` as plain records."""
    current: dict[str, list[InForce]] = {}
    for row in _rows(fleet.current):
        current.setdefault(row["site"], []).append(InForce(row["hub"], row["host"], row["pool"]))
    prices = YearlyPrices(fleet.prices, fleet.policy)
    sites = {row["site"]: _site(row, fleet.policy, prices) for row in _rows(fleet.sites)}
    needing = [site for site in sites.values() if site.needs_host]
    whole_weight = sum((site.weight for site in needing), Fraction(0))
    hit = _most_hit(needing, whole_weight, fleet.policy)
    zones: dict[str, set[str]] = {}  # of a hub: those of all its rows
    for row in _rows(fleet.pools):
        zones.setdefault(row["hub"], set()).update(row["zone"])
    limits = tuple(_host_limits(fleet))
    fit: dict[str, int] = {}
    for limit in limits:
        fit |= {pool: min(limit.most // each, fit.get(pool, limit.most // each)) for pool, each in limit.takes.items()}
    pools = {row["pool"]: _pool(row, zones[row["hub"]], prices, hit, fit[row["pool"]]) for row in _rows(fleet.pools)}
    uplinks_kbps: dict[str, float] = {}
    for pool in pools.values():
        if not math.isnan(pool.uplink_mbps):
            uplinks_kbps[pool.hub] = min(pool.uplink_mbps * 1000, uplinks_kbps.get(pool.hub, math.inf))
    return Inventory(
        sites=sites,
        pools=pools,
        current=current,
        policy=fleet.policy,
        as_of=fleet.as_of,
        sources=fleet.sources,
        pairs=Pairs(fleet),
        whole_weight=whole_weight,
        uplinks_kbps=uplinks_kbps,
        host_limits=limits,
        own=OwnRules(fleet),
    )


def _host_limits(fleet: Fleet) -> Iterator[HostLimit]:
    """Yield what the sheet Hubs says of how many hosts may run, besides those that are to be emptied."""
    policy = fleet.policy
    at_hub: dict[str, list[dict[str, Any]]] = {}
    for row in _rows(fleet.pools):
        pool, leaving = row["pool"], len(set(row["retiring_hosts"]))
        existing = _existing(row)
        most = int(_given(row["max_hosts"], max(policy.max_hosts_per_hub, existing)))
        yield HostLimit("max_hosts", f"pool {pool}", {pool: 1}, max(0, most - leaving), "hosts of the pool are in use")
        at_hub.setdefault(row["hub"], []).append(row)
    for hub, rows in sorted(at_hub.items()):
        given = [row["rack_units"] for row in rows if not math.isnan(row["rack_units"])]
        takes = {row["pool"]: int(_given(row["host_rack_units"], policy.host_rack_units)) for row in rows}
        left = sum(takes[row["pool"]] * len(set(row["retiring_hosts"])) for row in rows)
        if given:
            yield HostLimit("rack_units", f"hub {hub}", takes, max(0, int(min(given)) - left), "rack units are in use")


def _rows(table: pd.DataFrame) -> Iterator[dict[str, Any]]:
    names = list(table.columns)
    for values in zip(*(table[name].tolist() for name in names), strict=True):
        yield dict(zip(names, values, strict=True))


def _site(row: Mapping[str, Any], policy: Policy, prices: YearlyPrices) -> Site:
    return Site(
        site=row["site"],
        region=_folded(row["region"]),
        latitude=row["latitude"],
        longitude=row["longitude"],
        clusters=int(_given(row["clusters"], 1)),
        release=(row["target_release"] or row["release"]).strip(),
        release_today=row["release"].strip(),
        budget_ms=_given(row["latency_budget_ms"], policy.latency_budget_ms),
        loss_budget_ms=_given(row["loss_latency_budget_ms"], policy.loss_latency_budget_ms),
        zones=frozenset(row["zone"]),
        pinned_hub=row["pinned_hub"],
        barred_hubs=frozenset(row["barred_hubs"]),
        own_tie_breaker=row["own_tie_breaker"] or "no",
        own_cost=prices.own(row, int(_given(row["clusters"], 1))),
        nodes=_given(row["nodes"], 2),
        cluster_kbps=_given(row["tie_breaker_kbps"], policy.tie_breaker_kbps),
        weight=_weight(_given(row["weight"], 1)),
    )


def _most_hit(needing: list[Site], whole_weight: Fraction, policy: Policy) -> float:
    """Return the clusters that one host's loss may hit: by number, and by weight where all clusters weigh the same."""
    most = math.inf if policy.max_blast_radius is None else policy.max_blast_radius
    if policy.max_share_percent is None:
        return most
    each = {site.weight / site.clusters for site in needing}
    if len(each) != 1:
        return most
    return min(most, math.floor(Fraction(str(policy.max_share_percent)) * whole_weight / 100 / each.pop()))


def _pool(row: Mapping[str, Any], zones: set[str], prices: YearlyPrices, most_hit: float, most: int) -> Pool:
    policy = prices.policy
    cap = int(_given(row["cluster_cap"], policy.cluster_cap))
    # Exact in the decimals that the user typed: 10 % of 50 leaves 45, whatever binary fractions say.
    usable = math.floor(cap * (100 - Fraction(str(policy.reserve_percent))) / 100)
    named, existing = frozenset(row["host_names"]), _existing(row)
    retiring = frozenset(row["retiring_hosts"])
    return Pool(
        pool=row["pool"],
        hub=row["hub"],
        latitude=row["latitude"],
        longitude=row["longitude"],
        zones=frozenset(zones),
        max_hosts=most,
        existing_hosts=max(0, existing - len(retiring)),
        named=named,
        retiring=retiring,
        release=(row["host_release"] or policy.host_release).strip(),
        release_today=(row["host_release_today"] or row["host_release"] or policy.host_release).strip(),
        cap=cap,
        usable=int(min(usable, most_hit)),
        host_cost=prices.host(row),
        uplink_mbps=row["uplink_mbps"],
        serves_regions=frozenset(_folded(region) for region in row["serves_regions"]),
    )


def _existing(row: Mapping[str, Any]) -> int:
    """Return how many hosts of a pool run, those that are to be emptied included."""
    return max(int(_given(row["existing_hosts"], 0)), len(set(row["host_names"])))


def _given(value: float, default: float | None) -> float:
    """Return ``value``, or ``default`` where it is blank; NaN where neither is given."""
    if not math.isnan(value):
        return value
    return math.nan if default is None else default


@lru_cache
def _weight(value: float) -> Fraction:
    """Return a weight to six decimals, and not less than the last of them."""
    return max(round(Fraction(value), 6), Fraction(1, 10**6))


def _folded(text: str) -> str:
    return text.strip().casefold()
