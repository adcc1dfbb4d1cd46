"""What all sites at a hub or zone may bring: traffic on an uplink, clusters or weight that one loss may hit."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from planner.arrays import as_floats, falses, int_array, offsets, rounded
from planner.fleet import Bools, Fleet, Floats, Ints

Measure = str  # clusters, weight, kbps, or one of `home_limits`


@dataclass(frozen=True)
class LoadLimit:
    """At most ``most`` of a ``measure`` at ``place``, the pools that ``pools`` (P,) marks, because of ``setting``."""

    place: str
    setting: str
    measure: Measure
    pools: Bools
    most: float

    def said(self) -> str:
        """Say the limit in a few words."""
        return f"{self.setting} at {self.place}"


def amounts_of(fleet: Fleet) -> dict[Measure, Floats]:
    """Return what each site brings of each measure, shape (sites,): clusters, whole units of weight, kb/s."""
    return {
        "clusters": as_floats(fleet.clusters),
        "weight": as_floats(fleet.whole_weights),
        "kbps": fleet.traffic_kbps,
    }


def read_limits(
    fleet: Fleet, hub: Ints, amounts: Mapping[Measure, Floats], site: Ints, pool: Ints
) -> tuple[LoadLimit, ...]:
    """Return the limits that a plan can break; ``hub`` (P,) is the hub of each pool, one of ``fleet.hub_ids``.

    ``amounts`` (S,) are those of the sites to serve, ``site`` and ``pool`` (E,) their eligible pairs. A hub is a
    failure zone of its own. Of limits of one measure on the same pools the least is kept.
    """
    asked = list(_asked(fleet))
    if not asked:
        return ()
    hubs = len(fleet.hub_ids)
    used = np.unique(site * hubs + hub[pool])
    used_site, used_hub = np.divmod(used, hubs)
    kept: dict[tuple[Measure, bytes], LoadLimit] = {}
    for place, inside, measure, setting, most in asked:
        mask = falses(hubs)
        mask[inside] = True
        brought = amounts[measure]
        reaching = falses(len(brought))
        reaching[used_site[mask[used_hub]]] = True
        if brought[reaching].sum() > most:
            limit = LoadLimit(place, setting, measure, mask[hub], most)
            key = (measure, limit.pools.tobytes())
            known = kept.get(key, limit)
            kept[key] = min(limit, known, key=lambda known: known.most)
    return tuple(kept.values())


def home_limits(
    homes: Bools, site: Ints, pool: Ints, shape: tuple[int, int]
) -> tuple[tuple[LoadLimit, ...], dict[Measure, Floats]]:
    """Return limits that keep homes off pairs which ``homes`` (E,) does not mark, and what sites bring to them.

    ``site`` and ``pool`` (E,) are those of the pairs, ``shape`` says how many there are of both. On a pool with such
    pairs, 0 of these sites may have their home.
    """
    limits, brought = [], {}
    away = np.zeros(shape)
    away[site[~homes], pool[~homes]] = 1.0
    for p in np.flatnonzero(away.any(axis=0)).tolist():
        measure = f"away from {p}"
        brought[measure] = away[:, p]
        there = np.arange(shape[1]) == p
        limits.append(LoadLimit(f"pool {p}", "loss_latency_budget_ms", measure, there, 0.0))
    return tuple(limits), brought


def _asked(fleet: Fleet) -> Iterator[tuple[str, Ints, Measure, str, float]]:
    """Yield place, hubs (positions), measure, setting and most of every limit of the fleet."""
    policy = fleet.policy
    hubs = [(f"hub {name}", int_array([h])) for h, name in enumerate(fleet.hub_ids)]
    zones = [*hubs]
    zones += [(f"zone {name}", inside) for name, inside in fleet.hubs_in_zones.items()]
    for (place, inside), kbps in zip(hubs, fleet.hub_uplinks_kbps.tolist(), strict=True):
        if np.isfinite(kbps):
            yield place, inside, "kbps", "uplink_mbps", kbps
    for places, kind in ((hubs, "hub"), (zones, "zone")):
        clusters = getattr(policy, f"max_blast_radius_{kind}")
        share = fleet.most_weight(getattr(policy, f"max_share_percent_{kind}"))
        for place, inside in places:
            if clusters is not None:
                yield place, inside, "clusters", f"max_blast_radius_{kind}", float(clusters)
            if share is not None:
                yield place, inside, "weight", f"max_share_percent_{kind}", _whole(fleet, share)


def most_on_host(fleet: Fleet, amounts: Mapping[Measure, Floats]) -> float | None:
    """Return the most weight on one host; None where there is no such limit, or the usable caps keep it.

    ``amounts`` (S,) are those of the sites to serve.
    """
    weights, clusters = amounts["weight"], rounded(amounts["clusters"])
    share = fleet.most_weight(fleet.policy.max_share_percent)
    if share is None or fleet.clusters_per_weight is not None:
        return None
    most = _whole(fleet, share)
    # The densest sites first fill a host with the most weight that it can carry, were they divisible.
    order = np.argsort(-weights / clusters, kind="stable")
    ordered = clusters[order]
    before = offsets(ordered)[:-1]
    largest = int(fleet.usable_caps.max(initial=0))
    taken = np.clip(largest - before, 0, ordered)
    carried = float((weights[order] * taken / ordered).sum())
    return most if carried > most else None


def laminar_parents(sets: Sequence[Bools], size: int) -> Ints:
    """Return where each of ``size`` places, then each of nested ``sets`` (size,) of them, sends what it takes.

    A place goes to the smallest set that holds it, a set to the next larger one, as node ``size + its position``; the
    last go to node ``size + len(sets)``.
    """
    last = size + len(sets)
    after = np.full(last, last, dtype=np.int64)
    sizes = [int(inside.sum()) for inside in sets]
    by_size = sorted(range(len(sets)), key=lambda i: -sizes[i])
    for at, i in enumerate(by_size):
        after[:size][sets[i]] = size + i
        for j in by_size[at + 1 :]:
            if not (sets[j] & ~sets[i]).any():
                after[size + j] = size + i
    return after


def _whole(fleet: Fleet, share: Fraction) -> float:
    """Return a limit on whole units of weight, rounded down where sites are whole."""
    return float(share if fleet.policy.split_sites else math.floor(share))


def nested(limits: Sequence[LoadLimit]) -> bool:
    """Say whether of any two limits one holds all pools of the other, or none of them."""
    pairs = itertools.combinations((limit.pools for limit in limits), 2)
    return all(_apart_or_inside(one, other) for one, other in pairs)


def _apart_or_inside(one: Bools, other: Bools) -> bool:
    both = one & other
    return not both.any() or (both == one).all() or (both == other).all()
