"""What the tables and the policy of a fleet say, as arrays: blanks filled in, units whole, limits in force."""

from __future__ import annotations

import datetime as dt
from fractions import Fraction
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.arrays import Bools, Floats, Ints, exact_weight, positions, whole_weights
from planner.host_limits import HostLimit, host_limits
from planner.policy import Policy
from planner.prices import price_of, years_factor


class FleetArrays:
    """Arrays of a fleet, each worked out when it is first asked for; sites and pools are in table order.

    Blanks of the tables take the policy's defaults. Treat arrays as read-only.
    """

    sites: pd.DataFrame
    pools: pd.DataFrame
    current: pd.DataFrame
    prices: pd.DataFrame
    policy: Policy

    @cached_property
    def site_ids(self) -> tuple[str, ...]:
        """Site ids in table order; positions elsewhere refer to it."""
        return tuple(self.sites["site"])

    @cached_property
    def pool_ids(self) -> tuple[str, ...]:
        """Pool ids in table order."""
        return tuple(self.pools["pool"])

    @cached_property
    def hub_ids(self) -> tuple[str, ...]:
        """Hub ids, sorted, so that what is numbered by hub does not follow the order of rows."""
        return tuple(sorted(set(self.pools["hub"])))

    @cached_property
    def hub_of_pool(self) -> Ints:
        """Position in `hub_ids` for each pool, shape (pools,)."""
        return positions(self.pools["hub"], self.hub_ids)

    @cached_property
    def clusters(self) -> Ints:
        """Clusters of each site, shape (sites,)."""
        return self.sites["clusters"].fillna(1).to_numpy().astype(np.int64)

    @cached_property
    def weights(self) -> Floats:
        """Weight of each site, shape (sites,)."""
        return self.sites["weight"].fillna(1.0).to_numpy(dtype=np.float64)

    @cached_property
    def needs_host(self) -> Bools:
        """Sites that need a shared host: clusters to serve and no own tie-breaker, shape (sites,)."""
        needs: Bools = (self.clusters > 0) & (self.own_tie_breaker != "yes")
        return needs

    @cached_property
    def kept(self) -> Bools:
        """Sites that are served today, and come before others since the policy keeps them served, shape (sites,)."""
        if not self.policy.keep_served:
            return np.zeros(len(self.site_ids), dtype=np.bool_)
        today = set(self.current["site"])
        return np.array([site in today for site in self.site_ids], dtype=np.bool_)

    @cached_property
    def whole_weights(self) -> Ints:
        """Weight of each site in whole units, shape (sites,); see `whole_weights`."""
        return whole_weights(self.weights)

    @cached_property
    def weight_unit(self) -> Fraction:
        """Weight of one unit of `whole_weights`."""
        return Fraction(1) if not len(self.weights) else exact_weight(self.weights[0]) / int(self.whole_weights[0])

    def most_weight(self, percent: float | None) -> Fraction | None:
        """Return ``percent`` of the whole in the units of `whole_weights`; None for None.

        The whole is the weight of all sites that need a shared host, whether a plan serves them or not.
        """
        # Exact in the decimals that the user typed.
        whole = int(self.whole_weights[self.needs_host].sum())
        return None if percent is None else Fraction(str(percent)) * whole / 100

    @cached_property
    def clusters_per_weight(self) -> Fraction | None:
        """Clusters for a unit of weight where that is the same at all sites that need a shared host, else None."""
        clusters, weights = self.clusters[self.needs_host], self.whole_weights[self.needs_host]
        if not len(clusters) or (clusters * weights[0] != weights * clusters[0]).any():
            return None
        return Fraction(int(clusters[0]), int(weights[0]))

    @cached_property
    def budgets_ms(self) -> Floats:
        """Latency budget of each site in ms, shape (sites,); NaN where neither site nor policy gives one."""
        default = np.nan if self.policy.latency_budget_ms is None else self.policy.latency_budget_ms
        return self.sites["latency_budget_ms"].fillna(default).to_numpy(dtype=np.float64)

    @cached_property
    def loss_budgets_ms(self) -> Floats:
        """Largest RTT of each site to its standby in ms, shape (sites,): ``loss_latency_budget_ms``, if that is more
        than its latency budget, which a blank stands for."""
        given = self.sites["loss_latency_budget_ms"].to_numpy(dtype=np.float64)
        of_all = self.policy.loss_latency_budget_ms
        if of_all is not None:
            given = np.where(np.isnan(given), of_all, given)
        return np.asarray(np.where(given > self.budgets_ms, given, self.budgets_ms))

    @cached_property
    def as_of(self) -> dt.date:
        """Day on which the age of measurements counts: the policy's, else today."""
        return dt.date.fromisoformat(self.policy.as_of) if self.policy.as_of else dt.date.today()

    @cached_property
    def own_tie_breaker(self) -> npt.NDArray[np.str_]:
        """``"yes"``, ``"no"`` or ``"possible"`` for each site, shape (sites,)."""
        return np.array([value or "no" for value in self.sites["own_tie_breaker"]], dtype=np.str_)

    @cached_property
    def own_tie_breaker_running_costs(self) -> Floats:
        """What running each site's own tie-breakers costs a year, shape (sites,); NaN where unknown.

        It is ``own_tie_breaker_cost`` of the site; where that is blank, the yearly part of Prices for each cluster.
        """
        default = np.nan if self.policy.own_tie_breaker_cost is None else self.policy.own_tie_breaker_cost
        given = self.sites["own_tie_breaker_cost"].fillna(default).to_numpy(dtype=np.float64)
        listed = price_of(self, "own_tie_breaker")
        yearly = np.nan if listed is None else listed.yearly_cost(self.policy)
        return np.asarray(np.where(np.isnan(given), yearly * self.clusters, given))

    @cached_property
    def own_tie_breaker_costs(self) -> Floats:
        """What each site's own tie-breakers cost a year: running them, and their part of the price of buying."""
        listed = price_of(self, "own_tie_breaker")
        buy = 0.0 if listed is None else listed.buy / years_factor(self.policy)
        return np.asarray(self.own_tie_breaker_running_costs + buy * self.clusters)

    @cached_property
    def cluster_caps(self) -> Ints:
        """Most clusters on one host of each pool, shape (pools,), before reserve and blast radius."""
        return self.pools["cluster_cap"].fillna(self.policy.cluster_cap).to_numpy().astype(np.int64)

    @cached_property
    def usable_caps(self) -> Ints:
        """Clusters that a plan may put on one host of each pool, shape (pools,).

        ``floor(cap * (100 - reserve_percent) / 100)``, not above ``max_blast_radius``, nor above ``max_share_percent``
        where a share of the weight comes to a number of clusters.
        """
        usable = self._caps_less_reserve
        if self.policy.max_blast_radius is not None:
            usable = np.minimum(usable, self.policy.max_blast_radius)
        share = self.most_weight(self.policy.max_share_percent)
        if share is not None and self.clusters_per_weight is not None:
            usable = np.minimum(usable, int(share * self.clusters_per_weight))
        return np.asarray(usable)

    @cached_property
    def covering_caps(self) -> Ints:
        """Clusters that one host of each pool may carry while another is lost, shape (pools,).

        The reserve stays free, since growth must not use up the cover, unless ``loss_uses_reserve``; blast radius and
        share are limits of every day.
        """
        return self.cluster_caps if self.policy.loss_uses_reserve else self._caps_less_reserve

    @cached_property
    def _caps_less_reserve(self) -> Ints:
        # The tiny addend keeps 50 * 0.9 = 45 from becoming 44 in binary floating point.
        usable = np.floor(self.cluster_caps * (100.0 - self.policy.reserve_percent) / 100.0 + 1e-9)
        return np.asarray(usable.astype(np.int64))

    @cached_property
    def cluster_kbps(self) -> Floats:
        """Tie-breaker traffic of one cluster of each site in kb/s, shape (sites,)."""
        return self.sites["tie_breaker_kbps"].fillna(self.policy.tie_breaker_kbps).to_numpy(dtype=np.float64)

    @cached_property
    def traffic_kbps(self) -> Floats:
        """Tie-breaker traffic of all clusters of each site in kb/s, shape (sites,)."""
        return np.asarray(self.cluster_kbps * self.clusters)

    @cached_property
    def parts(self) -> Ints:
        """Parts of each site that may go to different hosts, shape (sites,): 1, or its clusters with split_sites."""
        parts: Ints = np.maximum(self.clusters, 1) if self.policy.split_sites else np.ones_like(self.clusters)
        return parts

    @cached_property
    def hub_uplinks_kbps(self) -> Floats:
        """Uplink of each hub in kb/s, shape (hubs,); inf where unknown, the least where its rows differ."""
        uplinks = np.full(len(self.hub_ids), np.inf)
        np.fmin.at(uplinks, self.hub_of_pool, self.pools["uplink_mbps"].to_numpy(dtype=np.float64) * 1000.0)
        return uplinks

    @cached_property
    def hubs_in_zones(self) -> dict[str, Ints]:
        """Positions in `hub_ids` of the hubs of each failure zone: those that name it in any of their rows."""
        hubs: dict[str, set[int]] = {}
        for hub, zones in zip(self.hub_of_pool.tolist(), self.pools["zone"], strict=True):
            for zone in zones:
                hubs.setdefault(zone, set()).add(hub)
        return {zone: np.array(sorted(inside), dtype=np.int64) for zone, inside in sorted(hubs.items())}

    @cached_property
    def retiring_hosts(self) -> frozenset[str]:
        """Names of the hosts that are to be emptied."""
        return frozenset(name for names in self.pools["retiring_hosts"] for name in names)

    @cached_property
    def retiring_of_pool(self) -> Ints:
        """Hosts of each pool that are to be emptied, shape (pools,)."""
        return np.array([len(set(names)) for names in self.pools["retiring_hosts"]], dtype=np.int64)

    @cached_property
    def existing_hosts(self) -> Ints:
        """Hosts already running in each pool that may go on running, shape (pools,)."""
        return np.asarray(np.maximum(self._standing_hosts - self.retiring_of_pool, 0))

    @cached_property
    def stated_max_hosts(self) -> Ints:
        """What ``max_hosts`` of each pool says, shape (pools,).

        A blank takes the policy's ``max_hosts_per_hub``, or the existing hosts if there are more.
        """
        default = np.maximum(self.policy.max_hosts_per_hub, self._standing_hosts)
        given = self.pools["max_hosts"].to_numpy(dtype=np.float64)
        return np.where(np.isnan(given), default, given).astype(np.int64)

    @cached_property
    def host_limits(self) -> tuple[HostLimit, ...]:
        """Every limit on how many hosts run, besides those that are to be emptied."""
        return tuple(host_limits(self))

    @cached_property
    def max_hosts(self) -> Ints:
        """Most hosts of each pool, shape (pools,), besides those that are to be emptied, were they alone."""
        most = np.full(len(self.pool_ids), np.iinfo(np.int64).max)
        for limit in self.host_limits:
            most[limit.pools] = np.minimum(most[limit.pools], limit.most // limit.each)
        return most

    @cached_property
    def joint_host_limits(self) -> tuple[HostLimit, ...]:
        """The limits on hosts of several pools together that can stop a host which `max_hosts` lets run."""
        return tuple(limit for limit in self.host_limits if limit.taken(self.max_hosts) > limit.most)

    @cached_property
    def _standing_hosts(self) -> Ints:
        counted = self.pools["existing_hosts"].fillna(0).to_numpy().astype(np.int64)
        named = [len(set(names)) for names in self.pools["host_names"]]
        return np.asarray(np.maximum(counted, np.array(named, dtype=np.int64)))

    @cached_property
    def host_running_costs(self) -> Floats:
        """What running one host of each pool costs a year, shape (pools,); NaN where unknown.

        It is ``host_cost``; where that is blank, licence and rent, power and visits of the sheet Prices.
        """
        default = np.nan if self.policy.host_cost is None else self.policy.host_cost
        given = self.pools["host_cost"].fillna(default).to_numpy(dtype=np.float64)
        listed = price_of(self, "host")
        return np.asarray(
            given if listed is None else np.where(np.isnan(given), listed.yearly_cost(self.policy), given)
        )

    @cached_property
    def host_costs(self) -> Floats:
        """What one host of each pool costs a year, shape (pools,): running it, and its part of the price of buying."""
        listed = price_of(self, "host")
        buy = 0.0 if listed is None else listed.buy / years_factor(self.policy)
        return np.asarray(self.host_running_costs + buy)

    @cached_property
    def host_releases(self) -> tuple[str, ...]:
        """Release of each pool's hosts; ``""`` where unknown."""
        return tuple(value or self.policy.host_release for value in self.pools["host_release"])

    @cached_property
    def site_releases(self) -> tuple[str, ...]:
        """Release of each site that a plan is made for: the target release where there is one; ``""`` where unknown."""
        columns_of_sites = (self.sites["target_release"], self.sites["release"])
        return tuple(target or today for target, today in zip(*columns_of_sites, strict=True))
