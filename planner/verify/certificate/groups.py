"""The sites that a certificate speaks of, in groups that are alike, by verify's own reading of the fleet."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import chain

from planner.verify.certificate.form import Number
from planner.verify.certificate.statement import Statement
from planner.verify.inventory import Inventory, Pool, Site
from planner.verify.rules import eligible

Places = tuple[tuple[int, int | None], ...]  # home and standby

_CLOSE = 1 + Fraction(1, 10**6)  # sums of weight and traffic may be above their limit by one part in a million


@dataclass(frozen=True, slots=True)
class Group:
    """Sites that are alike: where each may have its home, and its standby (None: it needs none)."""

    sites: tuple[Site, ...]
    places: Places
    pools: frozenset[int]  # that may be home or standby
    covered: bool
    first: int  # variable of the first place; the own tie-breaker's comes after the last
    may_do_without: bool

    @property
    def own(self) -> int:
        """Variable of the own tie-breakers."""
        return self.first + len(self.places)

    def numbered(self) -> Iterator[tuple[int, int, int | None]]:
        """Yield variable, home and standby of each place."""
        for at, (home, standby) in enumerate(self.places, start=self.first):
            yield at, home, standby


class Ground:
    """Pools in order of id, and what of the fleet the program of ``statement`` rests on."""

    def __init__(self, inventory: Inventory, statement: Statement) -> None:
        self.inventory, self.statement = inventory, statement
        self.pools: list[Pool] = sorted(inventory.pools.values(), key=lambda pool: pool.pool)
        self.split = inventory.policy.split_sites
        self.zones = {pool.hub: inventory.zones_of_hub(pool.hub) for pool in self.pools}
        self.limits = list(self._limits())

    def lost_with(self, p: int) -> set[str]:
        """Return the losses that take pool ``p`` down."""
        hub = self.pools[p].hub
        return {f"hub {hub}"} | (self.zones[hub] if self.inventory.policy.cover == "zone" else set())

    def circuit(self, site: Site, p: int) -> Number:
        """Return what the circuit of a site to a pool costs."""
        pair = self.inventory.pairs.get(site.site, self.pools[p].hub)
        return 0 if pair is None else decimal(pair.pair_cost)

    def own_price(self, site: Site) -> Number:
        """Return what a site's own tie-breaker adds to the objective."""
        free = self.statement.objective != "cost" or site.own_tie_breaker != "possible" or math.isnan(site.own_cost)
        return 0 if free else decimal(site.own_cost)

    @cached_property
    def most_on_host(self) -> Number | None:
        """The most weight on a host; None where there is no such limit, or it comes to a number of clusters."""
        percent = self.inventory.policy.max_share_percent
        needing = [site for site in self.inventory.sites.values() if site.needs_host]
        if percent is None or len({site.weight / site.clusters for site in needing}) <= 1:
            return None
        return Fraction(str(percent)) * self.inventory.whole_weight / 100 * _CLOSE

    def _limits(self) -> Iterator[tuple[frozenset[int], str, Number]]:
        """Yield pools, measure and limit of every hub and zone that has one."""
        policy = self.inventory.policy
        hubs = sorted({pool.hub for pool in self.pools})
        names = sorted(set(chain.from_iterable(self.zones.values())))
        at_hub = [frozenset(p for p, pool in enumerate(self.pools) if pool.hub == hub) for hub in hubs]
        in_zone = [frozenset(p for p, pool in enumerate(self.pools) if n in self.zones[pool.hub]) for n in names]
        for hub, inside in zip(hubs, at_hub, strict=True):
            if math.isfinite(self.inventory.uplink_kbps(hub)):
                yield inside, "kbps", decimal(self.inventory.uplink_kbps(hub)) * _CLOSE
        for places, kind in ((at_hub, "hub"), ([*at_hub, *in_zone], "zone")):
            most, percent = (getattr(policy, f"{name}_{kind}") for name in ("max_blast_radius", "max_share_percent"))
            if most is not None:
                yield from ((inside, "clusters", most) for inside in places)
            if percent is not None:
                share = Fraction(str(percent)) * self.inventory.whole_weight / 100 * _CLOSE
                yield from ((inside, "weight", share) for inside in places)

    def groups(self, first: int) -> list[Group]:
        """Return the groups of all sites that need a host and are not left out; variables are numbered from ``first``.

        They stand in the order of the first id in each.
        """
        alike: dict[object, list[Site]] = {}
        reached: dict[object, tuple[tuple[int, ...], tuple[int, ...], bool]] = {}
        known: dict[object, Places] = {}
        for name in sorted(self.inventory.sites):
            site = self.inventory.sites[name]
            if not site.needs_host or name in self.statement.left_out:
                continue
            reach = self._reach(site)
            key = reach, site.own_tie_breaker == "possible", site.clusters, self._figures(site, reach[0])
            reached[key] = reach
            alike.setdefault(key, []).append(site)
        groups: list[Group] = []
        for kind, sites in alike.items():
            homes, standbys, covered = reach = reached[kind]
            places = known.get(reach) or known.setdefault(reach, self._places(*reach))
            without = sites[0].own_tie_breaker == "possible"
            groups.append(Group(tuple(sites), places, frozenset((*homes, *standbys)), covered, first, without))
            first = groups[-1].own + groups[-1].may_do_without
        return groups

    def _reach(self, site: Site) -> tuple[tuple[int, ...], tuple[int, ...], bool]:
        """Return the pools that may be home, those that may be standby, and whether the site has to be covered."""
        homes = self._eligible(site, standby=False)
        if self.statement.cover == "none" or site.site in self.statement.bare:
            return homes, (), False
        return homes, self._eligible(site, standby=True), True

    def _eligible(self, site: Site, *, standby: bool) -> tuple[int, ...]:
        found = (p for p, pool in enumerate(self.pools) if eligible(self.inventory, site, pool, standby=standby))
        return tuple(found)

    def _figures(self, site: Site, homes: Sequence[int]) -> tuple[Number, ...]:
        """Return the amounts of a site that the program tells apart."""
        measures = {measure for _, measure, _ in self.limits}
        weighed = "weight" in measures or self.most_on_host is not None
        figures: list[Number] = [self.own_price(site)]
        figures.append(decimal(site.cluster_kbps) if "kbps" in measures else 0)
        figures.append(site.weight if weighed else 0)
        if self.statement.objective == "cost":
            figures += [self.circuit(site, p) for p in homes]
        return tuple(figures)

    def _places(self, homes: Sequence[int], standbys: Sequence[int], covered: bool) -> Places:
        if not (covered and self.statement.standbys):
            return tuple((home, None) for home in homes)
        return tuple((p, q) for p in homes for q in standbys if not self.lost_with(p) & self.lost_with(q))


def decimal(value: float) -> Number:
    """Return a number of the fleet to six decimals."""
    return round(Fraction(value), 6)
