"""The arrays that sizing works on, and sites grouped into classes that the count cannot tell apart."""

from __future__ import annotations

import dataclasses
import itertools
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from planner.fleet import Bools, Fleet, Floats, Ints
from planner.rules import Checker

Keys = npt.NDArray[np.uint64]


@dataclass(frozen=True)
class Problem:
    """Sites to serve, pools to serve them, and who may use whom.

    Sites and pools are sorted by id, so that the order of rows in the input cannot matter.
    Shapes: S sites, P pools, E eligible pairs. The pairs of site s are ``indptr[s]:indptr[s + 1]``.

    ``site_at`` (S,), ``pool_at`` (P,): positions in the fleet's tables. ``clusters`` (S,): whole.
    ``weights`` (S,): whole multiples of one unit, see `whole_weights`. ``own_cost`` (S,): price of an
    own tie-breaker, inf where none is possible. ``pool`` (E,) ascending within a site; ``rtt_ms``,
    ``margin_ms``, ``pair_cost`` (E,). ``caps`` (P,): clusters a host may carry. ``host_cost`` (P,): money.
    ``traffic_kbps`` (S,) of all clusters of a site against ``uplink_kbps`` (H,) of hubs, ``hub`` (P,) of each pool;
    an uplink that no plan can fill is inf.
    """

    site_at: Ints
    pool_at: Ints
    clusters: Ints
    weights: Ints
    own_cost: Floats
    indptr: Ints
    pool: Ints
    rtt_ms: Floats
    margin_ms: Floats
    pair_cost: Floats
    evidence: Ints
    caps: Ints
    max_hosts: Ints
    existing: Ints
    host_cost: Floats
    traffic_kbps: Floats
    hub: Ints
    uplink_kbps: Floats
    objective: Literal["hosts", "new_hosts", "cost"]
    split: bool

    @property
    def sites(self) -> int:
        """Number of sites to serve."""
        return len(self.clusters)

    @property
    def pools(self) -> int:
        """Number of pools."""
        return len(self.caps)

    @cached_property
    def site(self) -> Ints:
        """Site of each pair, shape (E,)."""
        return np.repeat(np.arange(self.sites), np.diff(self.indptr))

    @property
    def uplinks_bind(self) -> bool:
        """Whether some hub's uplink limits the plan."""
        return bool(np.isfinite(self.uplink_kbps).any())

    @cached_property
    def items(self) -> Ints:
        """Clusters of a site that must share a host, shape (S,): all of them, or 1 where sites may be split."""
        return np.ones_like(self.clusters) if self.split else self.clusters


def restrict(problem: Problem, keep: Bools) -> Problem:
    """Return the problem of the sites that ``keep`` (S,) marks, without own tie-breakers."""
    pairs = keep[problem.site]
    sizes = np.diff(problem.indptr)[keep]
    return dataclasses.replace(
        problem,
        site_at=problem.site_at[keep],
        clusters=problem.clusters[keep],
        weights=problem.weights[keep],
        own_cost=np.full(int(keep.sum()), np.inf),
        indptr=np.concatenate(([0], np.cumsum(sizes))).astype(np.int64),
        pool=problem.pool[pairs],
        rtt_ms=problem.rtt_ms[pairs],
        margin_ms=problem.margin_ms[pairs],
        pair_cost=problem.pair_cost[pairs],
        evidence=problem.evidence[pairs],
        traffic_kbps=problem.traffic_kbps[keep],
    )


def build_problem(fleet: Fleet, checker: Checker) -> Problem:
    """Return the sizing problem of the sites that need a host and have an eligible pool or an own tie-breaker."""
    pairs = checker.eligible()
    possible = fleet.own_tie_breaker == "possible"
    wanted = checker.needs_host & (possible | (np.bincount(pairs.site, minlength=len(fleet.site_ids)) > 0))
    site_at = np.array([s for s in _by_id(fleet.site_ids) if wanted[s]], dtype=np.int64)
    pool_at = _by_id(fleet.pool_ids)
    site = _inverse(site_at, len(fleet.site_ids))[pairs.site]
    pool = _inverse(pool_at, len(fleet.pool_ids))[pairs.pool]
    order = np.lexsort((pool, site))
    own_cost = np.where(possible, np.nan_to_num(fleet.own_tie_breaker_costs, nan=1.0), np.inf)
    hub = fleet.hub_of_pool[pool_at]
    most = _most_traffic(fleet, site_at, site[order], hub[pool[order]])
    return Problem(
        site_at=site_at,
        pool_at=pool_at,
        clusters=fleet.clusters[site_at],
        weights=whole_weights(fleet.weights)[site_at],
        own_cost=own_cost[site_at],
        indptr=np.concatenate(([0], np.cumsum(np.bincount(site, minlength=len(site_at))))).astype(np.int64),
        pool=pool[order],
        rtt_ms=pairs.rtt_ms[order],
        margin_ms=(fleet.budgets_ms[pairs.site] - pairs.rtt_ms)[order],
        pair_cost=pairs.pair_cost[order],
        evidence=pairs.evidence[order],
        caps=fleet.usable_caps[pool_at],
        max_hosts=fleet.max_hosts[pool_at],
        existing=fleet.existing_hosts[pool_at],
        host_cost=fleet.host_costs[pool_at],
        traffic_kbps=fleet.traffic_kbps[site_at],
        hub=hub,
        uplink_kbps=np.where(most > fleet.hub_uplinks_kbps, fleet.hub_uplinks_kbps, np.inf),
        objective=fleet.policy.objective,
        split=fleet.policy.split_sites,
    )


def _most_traffic(fleet: Fleet, site_at: Ints, site: Ints, hub: Ints) -> Floats:
    """Return the traffic of all sites that can use each hub, shape (hubs,): no plan brings more."""
    hubs = len(fleet.hub_ids)
    if not np.isfinite(fleet.hub_uplinks_kbps).any():
        return np.zeros(hubs)  # compared with no limit
    at = np.unique(site * hubs + hub)
    return np.bincount(at % hubs, weights=fleet.traffic_kbps[site_at][at // hubs], minlength=hubs).astype(np.float64)


def whole_weights(weights: Floats) -> Ints:
    """Return weights as whole multiples of their common unit, so that sums of them are exact.

    Weights are read to six decimals; smaller differences do not count.
    """
    distinct, inverse = np.unique(weights, return_inverse=True)
    exact = [Fraction(f"{weight:.6f}") for weight in distinct]
    scale = int(np.lcm.reduce([f.denominator for f in exact], dtype=np.int64, initial=1))
    whole = np.array([max(1, int(f * scale)) for f in exact], dtype=np.int64)
    unit = int(np.gcd.reduce(whole)) if len(whole) else 1
    return (whole // max(unit, 1))[inverse]


@dataclass(frozen=True)
class Classes:
    """Sites that the model cannot tell apart, counted once.

    Shapes: K classes, A arcs class-pool. ``of_site`` (S,): class of each site. ``size`` (K,): sites in
    it. ``items``, ``clusters``, ``weight``, ``own_cost``, ``traffic_kbps`` (K,): of one site. ``fixed``
    (K,): the model decides how many of its sites use each pool, because sites of other classes cannot stand
    in for them. The arcs of class c are ``indptr[c]:indptr[c + 1]`` with ``pool`` and ``cost`` (A,).
    """

    of_site: Ints
    size: Ints
    items: Ints
    clusters: Ints
    weight: Ints
    own_cost: Floats
    traffic_kbps: Floats
    fixed: Bools
    indptr: Ints
    pool: Ints
    cost: Floats

    @property
    def count(self) -> int:
        """Number of classes."""
        return len(self.size)

    @cached_property
    def of_arc(self) -> Ints:
        """Class of each arc, shape (A,)."""
        return np.repeat(np.arange(self.count), np.diff(self.indptr))

    @cached_property
    def demand(self) -> Ints:
        """Units that a class sends to pools, shape (K,): sites, or clusters where sites may be split."""
        return self.size * self.unit_demand

    @cached_property
    def unit_demand(self) -> Ints:
        """Units of one site, shape (K,): 1, or its clusters where sites may be split."""
        return self.clusters // self.items

    @cached_property
    def heavy(self) -> Bools:
        """Classes whose sites bring several clusters to one host, shape (K,)."""
        return self.items > 1


def group(problem: Problem, *, by_weight: bool, apart: Ints | None = None) -> Classes:
    """Group sites by eligible pools, clusters, own tie-breaker price and, where they matter, weight and pair costs.

    ``apart`` (S,): sites of different values are in different classes, and the model places every class itself.
    """
    by_cost, placed = problem.objective == "cost", apart is not None
    traffic = problem.traffic_kbps if problem.uplinks_bind else np.zeros(problem.sites)
    weights = problem.weights if by_weight else np.ones_like(problem.weights)
    costs = problem.pair_cost if by_cost else np.zeros_like(problem.pair_cost)
    held_apart = np.zeros(problem.sites, dtype=np.int64) if apart is None else apart
    alike = np.column_stack((problem.clusters, problem.own_cost, weights, traffic, held_apart)).astype(np.float64)
    first, of_site = _alike(alike, problem.indptr, problem.pool, costs if by_cost else None)
    lengths = np.diff(problem.indptr)[first]
    indptr = np.concatenate(([0], np.cumsum(lengths))).astype(np.int64)
    taken = np.arange(indptr[-1]) + np.repeat(problem.indptr[first] - indptr[:-1], lengths)
    return Classes(
        of_site=of_site,
        size=np.bincount(of_site, minlength=len(first)).astype(np.int64),
        items=problem.items[first],
        clusters=problem.clusters[first],
        weight=weights[first],
        own_cost=problem.own_cost[first],
        traffic_kbps=traffic[first],
        fixed=(problem.items[first] > 1) | problem.uplinks_bind | placed,
        indptr=indptr,
        pool=problem.pool[taken],
        cost=costs[taken],
    )


def _alike(own: Floats, indptr: Ints, pool: Ints, costs: Floats | None) -> tuple[Ints, Ints]:
    """Return the first site of each class (K,), in order, and the class of each site (S,).

    Alike are sites with the same row of ``own`` (S, numbers) and the same pools, at the same ``costs`` (E,) if given.
    They are found by keys of 64 bits, and compared; should two that differ share a key, other keys are made.
    """
    lengths = np.diff(indptr)
    for salt in itertools.count():
        keys = _keys(own, indptr, pool, costs, salt)
        _, first, of_site = np.unique(keys, return_index=True, return_inverse=True)
        order = np.argsort(first)
        first, of_site = first[order], _inverse(order, len(order))[of_site]
        twin = first[of_site]
        if (lengths == lengths[twin]).all() and (own == own[twin]).all():
            at = np.arange(len(pool)) + np.repeat(indptr[twin] - indptr[:-1], lengths)
            if (pool == pool[at]).all() and (costs is None or (costs == costs[at]).all()):
                break
    return first, of_site


def _keys(own: Floats, indptr: Ints, pool: Ints, costs: Floats | None, salt: int) -> Keys:
    """Return a key for each site, shape (S,): its row of ``own`` mixed with the sum of its pools' keys."""
    of_pair = _mixed(np.arange(pool.max(initial=0) + 1, dtype=np.uint64), salt)[pool]
    if costs is not None:
        of_pair = _mixed(of_pair ^ costs.view(np.uint64), salt)
    before = np.zeros(len(pool) + 1, dtype=np.uint64)
    np.cumsum(of_pair, out=before[1:])  # wraps, and so do differences
    keys = before[indptr[1:]] - before[indptr[:-1]]
    for column in own.T:
        keys = _mixed(keys ^ np.ascontiguousarray(column).view(np.uint64), salt)
    return keys


def _mixed(values: Keys, salt: int) -> Keys:
    """Return 64 bits that look random for each of ``values``: the end of G. L. Steele's SplitMix64 (OOPSLA 2014)."""
    keys = values + np.uint64((salt + 1) * 0x9E3779B97F4A7C15 % 2**64)
    keys = (keys ^ (keys >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    keys = (keys ^ (keys >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return keys ^ (keys >> np.uint64(31))


def _by_id(ids: tuple[str, ...]) -> Ints:
    return np.array(sorted(range(len(ids)), key=ids.__getitem__), dtype=np.int64)


def _inverse(at: Ints, size: int) -> Ints:
    inverse = np.full(size, -1, dtype=np.int64)
    inverse[at] = np.arange(len(at))
    return inverse
