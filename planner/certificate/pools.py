"""The pools of a fleet as a certificate counts them, sorted by id, and what all sites at a hub or zone may bring."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from planner.certificate.certificate_parts import Number
from planner.errors import InputError
from planner.fleet import Finding, Fleet

Measure = Literal["clusters", "kbps", "weight"]
_CLOSE = 1 + Fraction(1, 10**6)  # limits on sums of weight and traffic hold to one part in a million


@dataclass(frozen=True, slots=True)
class Pools:
    """Figures of each pool, in order of id.

    ``at``: positions in the fleet's table. ``usable``: clusters on a host, ``covering`` while a loss lasts. ``price``:
    of a host, by the objective. ``losses``: pools that are lost together, each a set of positions, the largest first,
    without those that are part of another.
    """

    ids: tuple[str, ...]
    at: tuple[int, ...]
    usable: tuple[int, ...]
    covering: tuple[int, ...]
    most: tuple[int, ...]
    existing: tuple[int, ...]
    price: tuple[Number, ...]
    losses: tuple[frozenset[int], ...]

    def apart(self, home: int, standby: int) -> bool:
        """Say whether no loss hits both pools."""
        return not any(home in loss and standby in loss for loss in self.losses)


@dataclass(frozen=True, slots=True)
class Limit:
    """At most ``most`` of a ``measure`` on the ordinary day at the pools of a place."""

    name: str
    measure: Measure
    pools: frozenset[int]
    most: Number


def decimal(value: float) -> Number:
    """Return a number of the fleet to six decimals, as a whole number where it is one."""
    exact = round(Fraction(value), 6)
    return int(exact) if exact.denominator == 1 else exact


def read_pools(fleet: Fleet) -> Pools:
    """Return the pools of ``fleet``; InputError where the objective asks for a price that is not known."""
    at = sorted(range(len(fleet.pool_ids)), key=fleet.pool_ids.__getitem__)
    by_cost = fleet.policy.objective == "cost"
    unpriced = [fleet.pool_ids[p] for p in at if by_cost and not math.isfinite(fleet.host_costs[p])]
    if unpriced:
        message = f"host_cost of pool {', '.join(unpriced[:3])} is not known, so the cost of a plan cannot be added up."
        raise InputError((Finding("error", "price_unknown", "Hubs", message, "Fill in host_cost, or Prices."),))
    return Pools(
        ids=tuple(fleet.pool_ids[p] for p in at),
        at=tuple(at),
        usable=tuple(int(fleet.usable_caps[p]) for p in at),
        covering=tuple(int(fleet.covering_caps[p]) for p in at),
        most=tuple(int(fleet.max_hosts[p]) for p in at),
        existing=tuple(int(fleet.existing_hosts[p]) for p in at),
        price=tuple(decimal(float(fleet.host_costs[p])) if by_cost else 1 for p in at),
        losses=_losses(fleet, at),
    )


def _losses(fleet: Fleet, at: list[int]) -> tuple[frozenset[int], ...]:
    """Return the pools that each hub takes with it and, where zones are covered, each failure zone."""
    hub = [int(fleet.hub_of_pool[p]) for p in at]
    places = [{h} for h in sorted(set(hub))]
    if fleet.policy.cover == "zone":
        places += [set(inside.tolist()) for inside in fleet.hubs_in_zones.values()]
    hit = {frozenset(p for p in range(len(hub)) if hub[p] in place) for place in places}
    largest = [one for one in hit if not any(one < other for other in hit)]
    return tuple(sorted(largest, key=lambda loss: (-len(loss), sorted(loss))))


def read_limits(fleet: Fleet, pools: Pools) -> list[Limit]:
    """Return what hubs and zones limit, whether or not it can bind; a hub is a zone of its own."""
    hub = [int(fleet.hub_of_pool[p]) for p in pools.at]
    hubs = [{h} for h in range(len(fleet.hub_ids))]
    zones = [*hubs, *(set(inside.tolist()) for inside in fleet.hubs_in_zones.values())]
    found = []
    for number, (measure, inside, most) in enumerate(_asked(fleet, hubs, zones), start=1):
        here = frozenset(p for p in range(len(hub)) if hub[p] in inside)
        found.append(Limit(f"limit_{number}", measure, here, most))
    return found


def _asked(fleet: Fleet, hubs: list[set[int]], zones: list[set[int]]) -> Iterator[tuple[Measure, set[int], Number]]:
    """Yield measure, hubs and most: uplinks, then for hubs and for zones clusters before weight."""
    for inside, kbps in zip(hubs, fleet.hub_uplinks_kbps.tolist(), strict=True):
        if math.isfinite(kbps):
            yield "kbps", inside, decimal(kbps) * _CLOSE
    for places, kind in ((hubs, "hub"), (zones, "zone")):
        clusters = getattr(fleet.policy, f"max_blast_radius_{kind}")
        share = most_weight(fleet, getattr(fleet.policy, f"max_share_percent_{kind}"))
        if clusters is not None:
            yield from (("clusters", inside, int(clusters)) for inside in places)
        if share is not None:
            yield from (("weight", inside, share) for inside in places)


def most_weight(fleet: Fleet, percent: float | None) -> Number | None:
    """Return a share of the weight of all sites that need a shared host; None for None."""
    if percent is None:
        return None
    whole = sum((weight_of(w) for w in fleet.weights[fleet.needs_host].tolist()), Fraction(0))
    return Fraction(str(percent)) * whole / 100 * _CLOSE


def weight_of(weight: float) -> Fraction:
    """Return a site's weight to six decimals, and not less than the last of them."""
    return max(round(Fraction(weight), 6), Fraction(1, 10**6))
