"""A plan as arrays: who is at home where, who stands by, and what one loss does to it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from planner.fleet import Bools, Fleet, Floats, Ints, positions
from planner.plan import Plan
from planner.resilience.drills.drill_report import HostLoad, Loss, LossFigures
from planner.rules import STANDBY_RULES, Checker


@dataclass(frozen=True)
class Hit:
    """What a loss takes: ``hosts`` (H,) are gone, ``rows`` (R,) have lost their vote, ``cut`` (R,) their standby."""

    hosts: Bools
    rows: Bools
    cut: Bools


class Layout:
    """The rows (assignments) and hosts of a plan; R rows and H hosts."""

    def __init__(self, fleet: Fleet, plan: Plan) -> None:
        self.fleet, self.plan = fleet, plan
        self.hosts = plan.host_list
        self.names = tuple(host.host for host in self.hosts)
        rows = plan.assignments
        self.site = positions([row.site for row in rows], fleet.site_ids)
        self.home = positions([row.host for row in rows], self.names)
        self.standby = positions([row.standby or "" for row in rows], self.names)
        self.clusters = np.array([row.clusters for row in rows], dtype=np.int64)
        self.pool = np.append(positions([host.pool for host in self.hosts], fleet.pool_ids), -1)
        self.hub = np.array([host.hub for host in self.hosts], dtype=object)
        self.cap = np.array([host.cap for host in self.hosts], dtype=np.int64)
        self.load = self._sums(self.home, self.home >= 0)

    @cached_property
    def checker(self) -> Checker:
        """The rules of the fleet."""
        return Checker.of(self.fleet)

    @cached_property
    def limit(self) -> Ints:
        """Clusters that each host may carry while another is lost, shape (H,)."""
        limit: Ints = np.minimum(np.append(self.fleet.covering_caps, 2**31)[self.pool[:-1]], self.cap)
        return limit

    @cached_property
    def eligible(self) -> Bools:
        """Rows whose standby every rule allows, shape (R,)."""
        pools = len(self.fleet.pool_ids)
        pairs = self.checker.eligible(STANDBY_RULES)
        pool = self.pool[self.standby]
        known = (self.site >= 0) & (self.standby >= 0) & (pool >= 0)
        found: Bools = known & np.isin(self.site * pools + pool, pairs.site * pools + pairs.pool)
        return found

    @cached_property
    def usable(self) -> Bools:
        """Rows whose standby is another host of the plan that may serve the site, shape (R,)."""
        other: Bools = self.eligible & (self.standby != self.home)
        return other

    def why_not_eligible(self, row: int) -> str:
        """Return the rules that keep a row's site from its standby."""
        site, pool = int(self.site[row]), int(self.pool[self.standby[row]])
        if self.standby[row] < 0:
            return "the standby is not a host of the plan"
        if site < 0 or pool < 0:
            return "the fleet does not know the site or the standby's pool"
        why = [
            f"{rule.code}: {rule.why(self.checker.facts, pairs.take(pairs.pool == pool))}"
            for rule, pairs in self.checker.broken(site, STANDBY_RULES)
            if pool in pairs.pool
        ]
        return "; ".join(why) or "its standby is its own host"

    def hosts_of(self, loss: Loss) -> Bools:
        """Return the hosts that a loss takes, shape (H,): for a zone those of every hub that it touches."""
        if loss.kind == "host":
            return np.array([name == loss.name for name in self.names], dtype=np.bool_)
        if loss.kind == "hub":
            return np.asarray(self.hub == loss.name, dtype=np.bool_)
        if loss.kind == "zone":
            return np.isin(self.hub, [hub for hub, zones in self.zones_of_hubs.items() if loss.name in zones])
        return np.zeros(len(self.names), dtype=np.bool_)

    @cached_property
    def sites_of_zone(self) -> dict[str, list[str]]:
        """The sites that lie in each failure zone."""
        found: dict[str, list[str]] = {}
        for site, zones in zip(self.fleet.site_ids, self.fleet.sites["zone"], strict=True):
            for zone in zones:
                found.setdefault(zone, []).append(site)
        return found

    @cached_property
    def zones_of_hubs(self) -> dict[str, set[str]]:
        """Failure zones of each hub: those of any of its pools, since a zone that takes a room may take the hub."""
        zones: dict[str, set[str]] = {}
        for hub, named in zip(self.fleet.pools["hub"], self.fleet.pools["zone"], strict=True):
            zones.setdefault(hub, set()).update(named)
        return zones

    def hit(self, hosts: Bools) -> Hit:
        """Return what the loss of ``hosts`` takes."""
        lost = np.append(hosts, False)
        return Hit(hosts, lost[self.home], lost[self.standby])

    def rehomed(self, hit: Hit) -> Bools:
        """Return the rows that go to their standby, shape (R,)."""
        goes: Bools = hit.rows & self.usable & ~hit.cut
        return goes

    def arriving(self, hit: Hit) -> Ints:
        """Return the clusters that come to each host, shape (H,)."""
        return self._sums(self.standby, self.rehomed(hit))

    def figures(self, hit: Hit, in_zone: int = 0) -> LossFigures:
        """Return a loss in figures.

        Rows that only lost their path (a WAN loss) still count on their host: it keeps a place for them.
        """
        goes, arriving = self.rehomed(hit), self.arriving(hit)
        after = np.where(hit.hosts, 0, self.load + arriving)
        over = np.where(arriving > 0, np.maximum(after - self.cap, 0), 0)
        reserve = (arriving > 0) & (over == 0) & (after > self.limit)
        return LossFigures(
            hosts=int(hit.hosts.sum()),
            sites=len({self.plan.assignments[row].site for row in np.flatnonzero(hit.rows)}),
            displaced=int(self.clusters[hit.rows].sum()),
            stranded=int(self.clusters[hit.rows & ~goes].sum()),
            over=int(over.sum()),
            overfilled=tuple(self.names[h] for h in np.flatnonzero(over)),
            into_reserve=tuple(self.names[h] for h in np.flatnonzero(reserve)),
            in_zone=in_zone,
        )

    def loads(self, hit: Hit) -> tuple[HostLoad, ...]:
        """Return the hosts that take somebody over, the fullest first."""
        arriving = self.arriving(hit)
        found = [
            HostLoad(
                self.names[h],
                str(self.hub[h]),
                int(self.load[h]),
                int(arriving[h]),
                int(self.limit[h]),
                int(self.cap[h]),
            )
            for h in np.flatnonzero(arriving)
        ]
        return tuple(sorted(found, key=lambda load: (load.cap - load.after, load.host)))

    @cached_property
    def flows(self) -> Floats:
        """Clusters at home on host x that go to host y if x is lost, shape (H, H); no standby: nowhere."""
        flows = np.zeros((len(self.names), len(self.names)))
        rows = self.usable & (self.home >= 0)
        np.add.at(flows, (self.home[rows], self.standby[rows]), self.clusters[rows])
        return flows

    def _sums(self, host: Ints, rows: Bools) -> Ints:
        return np.bincount(host[rows], weights=self.clusters[rows], minlength=len(self.names)).astype(np.int64)
