"""The integer program of a fleet, made again for a certificate: which constraints have to stand in it, in which order.

Written from the manual's description of the certificate and by verify's own reading of the rules. Variables: hosts of
each pool; hosts to add; room kept free; then for each group of sites its homes (with their standbys, where it has to be
covered), home by home, and its own tie-breakers. Constraints: every variable is 0 or more; hosts are at most those that
fit; groups are served; room; room while a loss lasts; what a loss sends to a standby; sites of a size; limits on hubs
and zones; weight on hosts; what hosts of several pools take together; hosts to add.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction

from planner.verify.certificate.form import Number
from planner.verify.certificate.groups import Ground, Group, decimal
from planner.verify.certificate.statement import Statement
from planner.verify.inventory import Inventory

Terms = dict[int, Number]
Expected = tuple[int, Number, Terms]  # sense, right-hand side, coefficients


class FleetProgram:
    """The program of the plans of ``inventory`` that ``statement`` speaks of."""

    def __init__(self, inventory: Inventory, statement: Statement) -> None:
        self._ground = ground = Ground(inventory, statement)
        self._objective, self._standbys = statement.objective, statement.standbys
        self.pools = ground.pools
        self._kept = len(self.pools) * (2 if self._objective == "new_hosts" else 1)
        after = self._kept + (len(self.pools) if self._standbys else 0)
        self.groups = ground.groups(after)
        self.variables = self.groups[-1].own + self.groups[-1].may_do_without if self.groups else after

    def names(self) -> Iterator[str]:
        """Yield the names of the variables in order: people read the file by them."""
        kinds = ["n", *("a" if self._objective == "new_hosts" else ""), *("s" if self._standbys else "")]
        for kind in kinds:
            yield from (f"{kind}{p + 1}" for p in range(len(self.pools)))
        for number, group in enumerate(self.groups, start=1):
            for home, standby in group.places:
                ready = "" if standby is None else f"_{standby + 1}"
                yield f"{'y' if ready else 'x'}{number}_{home + 1}{ready}"
            if group.may_do_without:
                yield f"o{number}"

    def objective(self) -> Terms:
        """Return the prices of all variables that have one."""
        if self._objective == "new_hosts":
            return {len(self.pools) + p: 1 for p in range(len(self.pools))}
        if self._objective == "hosts":
            return dict.fromkeys(range(len(self.pools)), 1)
        found: Terms = {p: decimal(pool.host_cost) for p, pool in enumerate(self.pools)}
        for group in self.groups:
            for at, home, _ in group.numbered():
                found[at] = self._ground.circuit(group.sites[0], home)
            if group.may_do_without:
                found[group.own] = self._ground.own_price(group.sites[0])
        return {at: price for at, price in found.items() if price}

    def constraints(self) -> Iterator[Expected]:
        """Yield the constraints in order."""
        for at in range(self.variables):
            yield 1, 0, {at: 1}
        for p, pool in enumerate(self.pools):
            yield -1, pool.max_hosts, {p: 1}
        for group in self.groups:
            yield self._served(group)
        yield from self._rooms()
        if self._standbys:
            yield from self._standbys_ready()
        if not self._ground.split:
            yield from self._large_sites()
        yield from self._within_limits()
        yield from self._hosts_together()
        if self._objective == "new_hosts":
            for p, pool in enumerate(self.pools):
                yield 1, -pool.existing_hosts, {len(self.pools) + p: 1, p: -1}
        yield from (self._after_a_loss(*asked) for asked in self._ground.statement.one_lost)

    def not_covered(self) -> bool:
        """Say whether the loss of a host is asked about groups that need not be covered against it."""
        statement = self._ground.statement
        asked = {at for _, classes in statement.one_lost for at in classes}
        free = any(not self.groups[at].covered or self.groups[at].may_do_without for at in asked)
        nobody = any(not classes for _, classes in statement.one_lost)
        return free or nobody or (bool(statement.one_lost) and statement.cover != "host")

    def _after_a_loss(self, divisor: int, classes: tuple[int, ...]) -> Expected:
        """Return what some groups need when one host is lost that they may use: all the others, at their room then.

        Both sides are divided and rounded up before the smallest host is put on top.
        """
        groups = [self.groups[at] for at in classes]
        used = sorted({p for group in groups for p in group.pools})
        room: Terms = {p: math.ceil(Fraction(self._left(p), divisor)) for p in used if self._left(p) > 0}
        clusters = sum(site.clusters for group in groups for site in group.sites)
        return 1, math.ceil(Fraction(clusters, divisor)) + min(room.values(), default=0), room

    def _left(self, p: int) -> int:
        """Return the clusters that a host of pool ``p`` may carry while a loss lasts: the reserve mostly stays free."""
        policy = self._ground.inventory.policy
        if policy.loss_uses_reserve:
            return self.pools[p].cap
        reserve = Fraction(str(policy.reserve_percent))
        return math.floor(self.pools[p].cap * (100 - reserve) / 100)

    def _units(self, group: Group) -> int:
        return group.sites[0].clusters if self._ground.split else 1

    def _each(self, group: Group) -> int:
        """Return the clusters of a unit."""
        return group.sites[0].clusters // self._units(group)

    def _served(self, group: Group) -> Expected:
        terms: Terms = {at: 1 for at, _, _ in group.numbered()}
        if group.may_do_without:
            terms[group.own] = self._units(group)
        return 0, len(group.sites) * self._units(group), terms

    def _rooms(self) -> Iterator[Expected]:
        load: list[Terms] = [{} for _ in self.pools]
        for group in self.groups:
            for at, home, _ in group.numbered():
                load[home][at] = self._each(group)
        for p, pool in enumerate(self.pools):
            yield -1, 0, {**load[p], p: -pool.usable}
        for p in range(len(self.pools) if self._standbys else 0):
            yield -1, 0, {**load[p], self._kept + p: 1, p: -self._left(p)}

    def _standbys_ready(self) -> Iterator[Expected]:
        """Yield what the loss of each hub or zone sends to each pool."""
        losses = self._losses()
        hit_by = [[number for number, hit in enumerate(losses) if p in hit] for p in range(len(self.pools))]
        sent: dict[tuple[int, int], Terms] = {}
        for group in self.groups:
            for at, home, standby in group.numbered():
                if standby is not None:
                    for loss in hit_by[home]:
                        sent.setdefault((loss, standby), {})[at] = self._each(group)
        for loss, standby in sorted(sent):
            yield -1, 0, {**sent[loss, standby], self._kept + standby: -1}

    def _losses(self) -> list[frozenset[int]]:
        """Return the pools that each loss takes down, the largest first; a loss that is part of another says less."""
        takes: dict[str, frozenset[int]] = {}
        for p in range(len(self.pools)):
            for loss in self._ground.lost_with(p):
                takes[loss] = takes.get(loss, frozenset()) | {p}
        every = set(takes.values())
        largest = [one for one in every if not any(one < other for other in every)]
        return sorted(largest, key=lambda hit: (-len(hit), sorted(hit)))

    def _large_sites(self) -> Iterator[Expected]:
        sizes = sorted({group.sites[0].clusters for group in self.groups} - {1})
        counted: dict[tuple[int, int], Terms] = {}
        for group in self.groups:
            smaller = [size for size in sizes if size <= group.sites[0].clusters]
            for at, home, _ in group.numbered():
                for size in smaller:
                    if self.pools[home].usable % size:
                        counted.setdefault((size, home), {})[at] = 1
        for size, p in sorted(counted):
            yield -1, 0, {**counted[size, p], p: -(self.pools[p].usable // size)}

    def _within_limits(self) -> Iterator[Expected]:
        for inside, measure, most in self._ground.limits:
            whole, terms = self._brought(inside, measure)
            if whole > most:
                yield -1, most, terms
        on_host = self._ground.most_on_host
        if on_host is not None:
            for p in range(len(self.pools)):
                whole, terms = self._brought(frozenset((p,)), "weight")
                if whole > on_host:
                    yield -1, 0, {**terms, p: -on_host}

    def _hosts_together(self) -> Iterator[Expected]:
        """Yield the limits on hosts of several pools that can stop one of them."""
        at = {pool.pool: p for p, pool in enumerate(self.pools)}
        for limit in self._ground.inventory.host_limits:
            terms: Terms = {at[pool]: each for pool, each in limit.takes.items()}
            if sum(each * self.pools[p].max_hosts for p, each in terms.items()) > limit.most:
                yield -1, limit.most, terms

    def _brought(self, inside: frozenset[int], measure: str) -> tuple[Number, Terms]:
        """Return what all sites that may have their home at some pools bring there, and the terms of a unit of each."""
        whole, terms = Fraction(0), Terms()
        for group in self.groups:
            site, units = group.sites[0], self._units(group)
            kbps = site.clusters * decimal(site.cluster_kbps)
            each = Fraction({"clusters": site.clusters, "kbps": kbps, "weight": site.weight}[measure]) / units
            here = [at for at, home, _ in group.numbered() if home in inside]
            if here and each:
                whole += each * units * len(group.sites)
                terms |= dict.fromkeys(here, each)
        return whole, terms
