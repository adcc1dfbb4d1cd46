"""The arrays that sizing works on: sites, pools, the pairs of both, and limits."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from planner.arrays import indices, int_array, int_zeros, inverse, offsets, owners, run_of
from planner.fleet import Bools, Fleet, Floats, Ints
from planner.host_limits import HostLimit
from planner.latency import RoundTrips
from planner.latency.pair_frame import costs_of_pairs
from planner.rules import Checker, Pairs
from planner.sizing.instance import load_limits


@dataclass(frozen=True)
class OwnCost:
    """What pairs cost by an aim of the caller's own: ``values`` (E,), whole multiples of ``step``."""

    code: str
    values: Floats
    step: float


@dataclass(frozen=True)
class Problem:
    """Sites to serve, pools to serve them, and who may use whom.

    Sites and pools are sorted by id, so that the order of rows in the input cannot matter.
    Shapes: S sites, P pools, E eligible pairs. The pairs of site s are ``indptr[s]:indptr[s + 1]``.

    ``site_at`` (S,), ``pool_at`` (P,): positions in the fleet's tables. ``clusters`` (S,): whole.
    ``weights`` (S,): whole multiples of one unit, see `whole_weights`. ``kept`` (S,): sites whose weight counts before
    that of all. ``own_cost`` (S,): price of an
    own tie-breaker, inf where none is possible. ``pool`` (E,) ascending within a site; ``round_trips``
    (E,): what is known of the pairs; ``margin_ms`` (E,); ``pair_cost`` (E,): what the objective counts.
    ``caps`` (P,): clusters a host may carry. ``host_cost`` (P,): money.
    ``hub`` (P,) of each pool. ``amounts`` (S,): what a site brings of each measure against the ``limits`` on hubs and
    zones; those that no plan can break are left out. ``host_weight``: most weight on a host, None for no limit.
    ``host_limits``: what hosts of several pools may take together, where it can stop one that ``max_hosts`` lets run.
    ``own_costs``: what pairs cost by each aim of the caller's own that the policy names.
    """

    site_at: Ints
    pool_at: Ints
    clusters: Ints
    weights: Ints
    own_cost: Floats
    indptr: Ints
    pool: Ints
    round_trips: RoundTrips
    margin_ms: Floats
    pair_cost: Floats
    caps: Ints
    max_hosts: Ints
    existing: Ints
    host_cost: Floats
    hub: Ints
    amounts: Mapping[load_limits.Measure, Floats]
    limits: tuple[load_limits.LoadLimit, ...]
    host_weight: float | None
    kept: Bools
    objective: Literal["hosts", "new_hosts", "cost"]
    split: bool
    host_limits: tuple[HostLimit, ...] = ()
    own_costs: tuple[OwnCost, ...] = ()

    @property
    def sites(self) -> int:
        """Number of sites to serve."""
        return len(self.clusters)

    @property
    def pools(self) -> int:
        """Number of pools."""
        return len(self.caps)

    @property
    def rtt_ms(self) -> Floats:
        """Round-trip time of each pair, shape (E,)."""
        return self.round_trips.rtt_ms

    @cached_property
    def site(self) -> Ints:
        """Site of each pair, shape (E,)."""
        return owners(self.indptr)

    @cached_property
    def may_own(self) -> Bools:
        """Sites that may use their own tie-breaker, shape (S,)."""
        return np.isfinite(self.own_cost)

    def pairs_of(self, site: int) -> slice:
        """Return where the pairs of ``site`` stand."""
        return run_of(self.indptr, site)

    @property
    def limited(self) -> bool:
        """Whether more than the caps of hosts and their number in each pool limits the plan."""
        return bool(self.limits or self.host_limits) or self.host_weight is not None

    @property
    def limits_said(self) -> list[str]:
        """What limits it so, each in a few words."""
        weight = [] if self.host_weight is None else ["max_share_percent"]
        limits: list[load_limits.LoadLimit | HostLimit] = [*self.limits, *self.host_limits]
        return [*(limit.said() for limit in limits), *weight]

    def weight_of(self, sites: Ints | Bools) -> int:
        """Return what ``sites``, positions or marks (S,), weigh together."""
        return int(self.weights[sites].sum())

    def may_grow(self, hosts: Ints) -> Bools:
        """Mark the pools that may run one more host than ``hosts`` (P,), shape (P,)."""
        may: Bools = hosts < self.max_hosts
        for limit in self.host_limits:
            left = limit.most - limit.taken(hosts)
            may[limit.pools[limit.each > left]] = False
        return may

    def may_run(self, hosts: Ints) -> bool:
        """Say whether ``hosts`` (P,), no more of any pool than fit there, keep the limits on several pools together."""
        return all(limit.taken(hosts) <= limit.most for limit in self.host_limits)

    @cached_property
    def host_rows(self) -> tuple[Ints, Ints]:
        """The limits on hosts of several pools as rows ``taken @ n <= most``, shapes (L, P) and (L,)."""
        taken = int_zeros((len(self.host_limits), self.pools))
        for row, limit in zip(taken, self.host_limits, strict=True):
            row[limit.pools] = limit.each
        return taken, int_array([limit.most for limit in self.host_limits])

    @cached_property
    def homes(self) -> Bools:
        """Pairs that may be a home, shape (E,): within the latency budget of every day, and no limit keeps them from
        it. On the others the site may only stand by."""
        free: Bools = self.margin_ms >= 0.0
        for limit in self.limits:
            of_unit = self.amounts[limit.measure] * self.items / self.clusters
            too_much = of_unit > limit.most * (1 + 1e-9)
            inside = limit.pools[self.pool]
            free &= ~(inside & too_much[self.site])
        return free

    @cached_property
    def of_the_day(self) -> Problem:
        """The problem with the pairs of `homes` alone."""
        return self if self.homes.all() else select(self, self.homes)

    @cached_property
    def with_home_limits(self) -> Problem:
        """The problem in which limits keep homes off pairs that are for standbys only, for engines that know none."""
        within_budget = self.margin_ms >= 0.0
        limits, brought = load_limits.home_limits(within_budget, self.site, self.pool, (self.sites, self.pools))
        if not limits:
            return self
        return dataclasses.replace(self, limits=self.limits + limits, amounts={**self.amounts, **brought})

    @cached_property
    def flows(self) -> bool:
        """Whether sites of one cluster can be shared out by a flow: limits count clusters only, and are nested."""
        of_clusters = all(limit.measure == "clusters" for limit in self.limits)
        return self.host_weight is None and of_clusters and load_limits.nested(self.limits)

    @cached_property
    def items(self) -> Ints:
        """Clusters of a site that must share a host, shape (S,): all of them, or 1 where sites may be split."""
        return np.ones_like(self.clusters) if self.split else self.clusters

    @cached_property
    def item_weight(self) -> Floats:
        """Weight of what must share a host, shape (S,): of a site, or of one cluster where sites may be split."""
        return self.weights * self.items / self.clusters


def unlimited(problem: Problem) -> Problem:
    """Return the problem in which only the caps of hosts and their number in each pool limit the plan."""
    return dataclasses.replace(problem, amounts={}, limits=(), host_weight=None, host_limits=())


def restrict(problem: Problem, keep: Bools) -> Problem:
    """Return the problem of the sites that ``keep`` (S,) marks, without own tie-breakers."""
    fewer = select(problem, keep[problem.site])
    choices = np.diff(fewer.indptr)[keep]
    site_at = problem.site_at[keep]
    return dataclasses.replace(
        fewer,
        site_at=site_at,
        clusters=problem.clusters[keep],
        weights=problem.weights[keep],
        kept=problem.kept[keep],
        own_cost=np.full(len(site_at), np.inf),
        indptr=offsets(choices),
        amounts={measure: each[keep] for measure, each in problem.amounts.items()},
    )


def select(problem: Problem, keep: Bools) -> Problem:
    """Return the problem of the eligible pairs that ``keep`` (E,) marks; all sites stay."""
    choices = np.bincount(problem.site[keep], minlength=problem.sites)
    return with_pairs(problem, keep, offsets(choices))


def with_pairs(problem: Problem, pairs: Ints | Bools, indptr: Ints) -> Problem:
    """Return the problem of these ``pairs`` of the same fleet, positions or marks; ``indptr`` says whose they are."""
    own_costs = [dataclasses.replace(cost, values=cost.values[pairs]) for cost in problem.own_costs]
    return dataclasses.replace(
        problem,
        indptr=indptr,
        pool=problem.pool[pairs],
        round_trips=problem.round_trips.take(pairs),
        margin_ms=problem.margin_ms[pairs],
        pair_cost=problem.pair_cost[pairs],
        own_costs=tuple(own_costs),
    )


def build_problem(fleet: Fleet, checker: Checker) -> Problem:
    """Return the sizing problem of the sites that need a host and have an eligible pool or an own tie-breaker."""
    # Where a site may only stand by, its margin is below 0, or the limit that keeps its home away is one of ``limits``.
    pairs = checker.eligible() if fleet.policy.cover == "none" else checker.eligible_with_standbys()
    site_at = _sites_with_choice(fleet, checker, pairs)
    pool_at = _by_id(fleet.pool_ids)
    site = inverse(site_at, len(fleet.site_ids))[pairs.site]
    pool = inverse(pool_at, len(pool_at))[pairs.pool]
    order = np.lexsort((pool, site))
    choices = np.bincount(site, minlength=len(site_at))
    own_cost = _own_prices(fleet)[site_at]
    own_costs = tuple(_own_costs(fleet, pairs, order))
    host_limits = _host_limits(fleet, pool_at)
    hub = fleet.hub_of_pool[pool_at]
    amounts = {measure: each[site_at] for measure, each in load_limits.amounts_of(fleet).items()}
    limits = load_limits.read_limits(fleet, hub, amounts, site, pool)
    known = pairs.figures(order)
    return Problem(
        site_at=site_at,
        pool_at=pool_at,
        clusters=fleet.clusters[site_at],
        weights=fleet.whole_weights[site_at],
        kept=fleet.kept[site_at],
        own_cost=own_cost,
        indptr=offsets(choices),
        pool=pool[order],
        round_trips=known,
        margin_ms=fleet.budgets_ms[site_at][site[order]] - known.rtt_ms,
        pair_cost=known.pair_cost,
        caps=fleet.usable_caps[pool_at],
        max_hosts=fleet.max_hosts[pool_at],
        existing=fleet.existing_hosts[pool_at],
        host_cost=fleet.host_costs[pool_at],
        hub=hub,
        amounts={limit.measure: amounts[limit.measure] for limit in limits},
        limits=limits,
        host_weight=load_limits.most_on_host(fleet, amounts),
        objective=fleet.policy.objective,
        split=fleet.policy.split_sites,
        host_limits=host_limits,
        own_costs=own_costs,
    )


def _sites_with_choice(fleet: Fleet, checker: Checker, pairs: Pairs) -> Ints:
    """Return the sites that need a host and have one of ``pairs`` or may have an own tie-breaker, sorted by id."""
    eligible = np.isin(indices(fleet.site_ids), pairs.site)
    has_choice = eligible | (fleet.own_tie_breaker == "possible")
    by_id = _by_id(fleet.site_ids)
    wanted: Bools = checker.needs_host & has_choice
    found: Ints = by_id[wanted[by_id]]
    return found


def _own_prices(fleet: Fleet) -> Floats:
    """Return what an own tie-breaker costs at each site, shape (sites,): 1 where no price is known, inf for none."""
    price = np.nan_to_num(fleet.own_tie_breaker_costs, nan=1.0)
    return np.where(fleet.own_tie_breaker == "possible", price, np.inf)


def _own_costs(fleet: Fleet, pairs: Pairs, order: Ints) -> Iterator[OwnCost]:
    """Yield the costs of ``pairs``, in ``order``, by each aim of the caller's own that the policy names."""
    named = fleet.policy.then.replace(",", " ").split()
    for aim in fleet.own_aims:
        if aim.name in named:
            costs = costs_of_pairs(fleet, aim, pairs.site, pairs.pool, pairs)
            yield OwnCost(aim.code, costs[order], aim.step)


def _host_limits(fleet: Fleet, pool_at: Ints) -> tuple[HostLimit, ...]:
    """Return the limits on hosts of several pools, with positions in ``pool_at`` (P,)."""
    position = inverse(pool_at, len(pool_at))
    return tuple(dataclasses.replace(limit, pools=position[limit.pools]) for limit in fleet.joint_host_limits)


def _by_id(ids: tuple[str, ...]) -> Ints:
    return int_array(sorted(range(len(ids)), key=ids.__getitem__))
