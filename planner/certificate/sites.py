"""The sites that a certificate speaks of, in classes of sites that its program cannot tell apart."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from planner.certificate.certificate_parts import Number, Scope, SiteClass
from planner.certificate.pools import Limit, Pools, decimal, weight_of
from planner.fleet import Fleet, Floats, Ints
from planner.plan import Plan
from planner.rules import STANDBY_RULES, Checker, Pairs


def read_scope(fleet: Fleet, plan: Plan) -> Scope:
    """Return what ``plan`` serves and covers."""
    covers = fleet.policy.cover != "none"
    bare = {row.site for row in plan.assignments if not row.standby} if covers else ()
    return Scope(
        objective=fleet.policy.objective,
        cover=fleet.policy.cover,
        left_out=tuple(sorted({entry.site for entry in plan.unserved})),
        bare=tuple(sorted(bare)),
    )


@dataclass(frozen=True)
class Reach:
    """The pools that each site of the fleet (by position) may use: ``first[s]:first[s + 1]`` of ``pool``, ascending."""

    first: Ints
    pool: Ints
    price: Floats

    def of(self, site: int) -> tuple[int, ...]:
        """Return the pools of a site."""
        return tuple(self.pool[self.first[site] : self.first[site + 1]].tolist())

    def prices(self, site: int) -> tuple[Number, ...]:
        """Return what the circuit of a site to each of its pools costs."""
        return tuple(map(decimal, self.price[self.first[site] : self.first[site + 1]].tolist()))


def _reach(pairs: Pairs, pools: Pools, sites: int) -> Reach:
    rank = np.empty(len(pools.at), dtype=np.int64)
    rank[list(pools.at)] = np.arange(len(pools.at))
    pool = rank[pairs.pool]
    order = np.lexsort((pool, pairs.site))
    first = np.concatenate(([0], np.cumsum(np.bincount(pairs.site, minlength=sites))))
    return Reach(first, pool[order], pairs.pair_cost[order])


def read_classes(fleet: Fleet, pools: Pools, limits: Sequence[Limit], scope: Scope) -> list[SiteClass]:
    """Return the classes of the sites that need a host and are not left out, in order of their first site."""
    checker, sites = Checker.of(fleet), len(fleet.site_ids)
    homes = _reach(checker.eligible(), pools, sites)
    covers = scope.cover != "none"
    standbys = _reach(checker.eligible(STANDBY_RULES), pools, sites) if covers else None
    left_out, bare = set(scope.left_out), set(scope.bare)
    measures = {limit.measure for limit in limits}
    weighed = "weight" in measures or weight_on_host(fleet)
    own = _own_prices(fleet)
    found: dict[SiteClass, list[str]] = {}
    for s in sorted(np.flatnonzero(fleet.needs_host).tolist(), key=fleet.site_ids.__getitem__):
        site = fleet.site_ids[s]
        if site in left_out:
            continue
        kind = SiteClass(
            sites=(),
            homes=homes.of(s),
            standbys=() if standbys is None or site in bare else standbys.of(s),
            clusters=int(fleet.clusters[s]),
            own=own(s),
            covered=covers and site not in bare,
            kbps=decimal(float(fleet.cluster_kbps[s])) * int(fleet.clusters[s]) if "kbps" in measures else 0,
            weight=weight_of(float(fleet.weights[s])) if weighed else 0,
            prices=homes.prices(s) if scope.objective == "cost" else (),
        )
        found.setdefault(kind, []).append(site)
    return [dataclasses.replace(kind, sites=tuple(members)) for kind, members in found.items()]


def weight_on_host(fleet: Fleet) -> bool:
    """Say whether the weight on a host is limited by more than the clusters on it."""
    return fleet.policy.max_share_percent is not None and fleet.clusters_per_weight is None


def _own_prices(fleet: Fleet) -> Callable[[int], Number | None]:
    """Return what a site's own tie-breaker adds to the objective; None where it can have none."""
    by_cost = fleet.policy.objective == "cost"
    cost = fleet.own_tie_breaker_costs

    def own(site: int) -> Number | None:
        if fleet.own_tie_breaker[site] != "possible":
            return None
        return 0 if not by_cost or math.isnan(cost[site]) else decimal(float(cost[site]))

    return own


def amount(kind: SiteClass, measure: str, units: int) -> Number:
    """Return what one of ``units`` equal parts of a site of the class brings of a measure."""
    whole = {"clusters": kind.clusters, "kbps": kind.kbps, "weight": kind.weight}[measure]
    return whole if units == 1 else Fraction(whole) / units
