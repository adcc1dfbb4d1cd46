"""Does each set of sites force what the plan's proof says? Counted again from the fleet alone.

A set S of sites that all are served by shared hosts, with N(S) the pools that some site of it may use, needs

    sum over p in N(S) of ceil(room_p / d) n_p >= ceil(demand / d)      for every whole d >= 1

where demand counts clusters and room_p is the usable cap; or, for sites that keep t > 1 clusters or more together,
demand counts those sites and room_p = floor(usable cap / t). Sources: P. Hall, J. London Math. Soc. 10 (1935)
26-30, for the sets; V. Chvatal, Discrete Mathematics 4 (1973) 305-337, for dividing and rounding up.

Where the plan survives the loss of any one host, and all of S have a standby, some host of N(S) runs and may be lost.
All others must then carry S: with what a host may carry during a loss as room_p, demand counts clusters and, on top,
the room of the smallest host of N(S). Where hosts of a certain pool run, one of these may be the one that is lost: the
first of them counts no more than that smallest host.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from planner.verify.case import Case
from planner.verify.host_model import Row
from planner.verify.inventory import Pool
from planner.verify.proof_form import ClaimedSet
from planner.verify.rules import eligible
from planner.verify.violation import Violation

_NAMED = 3  # sites or pools named in a message


@dataclass(frozen=True, slots=True)
class Counted:
    """A set counted again: what its sites bring, and the room of one host of each pool they may use.

    ``lost``: room of the smallest host there, where one may be lost, else 0; where hosts of ``lost_pool`` run, one of
    these may be lost.
    """

    demand: int
    room: dict[str, int]
    lost: int
    lost_pool: str

    def row(self, divisor: int) -> Row:
        """Return the inequality that the set forces, divided by ``divisor`` and rounded up."""
        room = {pool: -(-each // divisor) for pool, each in self.room.items()}
        less = {self.lost_pool: (self.room[self.lost_pool] - self.lost) // divisor} if self.lost_pool else {}
        return Row(room, -(-(self.demand + self.lost) // divisor), less)


class Recount:
    """Counts sets again. What a site may use is looked up once, because sets overlap."""

    def __init__(self, case: Case) -> None:
        self._case = case
        self._pools = list(case.inventory.pools.values())
        self._usable: dict[tuple[str, bool], list[bool | None]] = {}
        self._left_out = {entry.site for entry in case.plan.unserved}
        self._running = Counter(host.pool for host in case.plan.host_list)
        self._bare = {row.site for row in case.plan.assignments if not row.standby}

    def check(self, claim: ClaimedSet, where: str) -> tuple[Row | None, list[Violation]]:
        """Return the inequality that the set forces, and what the plan says about it that is not so.

        There is no inequality where sites are counted that force nothing.
        """
        wrong = self.objections(claim.sites)
        if claim.at_least > 1 and self._case.inventory.policy.split_sites:
            wrong.append(f"it counts whole sites of {claim.at_least} clusters, but split_sites in Policy is yes")
        if claim.lost or claim.lost_pool:
            wrong += self._not_lost(claim)
        if wrong:
            return None, [Violation("proof_set", where, text) for text in wrong]
        counted = self._counted(claim)
        row = counted.row(claim.divisor)
        wrong = [*_figures(claim, counted, row), *self._rooms(claim, counted), *self._too_few(row)]
        return row, [Violation("proof_set", where, text) for text in wrong]

    def objections(self, sites: Sequence[str]) -> list[str]:
        """Return why a set of these sites forces nothing: some of them need no room, or stand there twice."""
        return [*self._foreign(sites), *self._doubled(sites)]

    def may_use(self, site: str, at: int, *, standby: bool) -> bool:
        """Say whether the site called ``site`` may use the pool at position ``at`` of the inventory, or stand by there.

        The latency budget for losses may allow more pools to a standby than that of every day to a home.
        """
        known = self._usable.setdefault((site, standby), [None] * len(self._pools))
        answer = known[at]
        if answer is None:
            found = self._case.inventory.sites[site]
            answer = known[at] = eligible(self._case.inventory, found, self._pools[at], standby=standby)
        return answer

    def _not_lost(self, claim: ClaimedSet) -> Iterator[str]:
        """Yield why the set need not get by without one of its hosts."""
        if self._case.inventory.policy.cover != "host":
            yield "it counts a host that may be lost, but cover in Policy is not host"
        if claim.at_least > 1:
            yield 'it counts a host that may be lost, and "at_least" is more than 1; only clusters can be counted then'
        if not claim.lost:
            yield 'it counts a lost host of a pool, but its field "lost" is 0'
        bare = [site for site in claim.sites if site in self._bare]
        if bare:
            yield f"{named('site', bare)} without standby in the plan, but counted as if with one"

    def _counted(self, claim: ClaimedSet) -> Counted:
        sites = [self._case.inventory.sites[site] for site in claim.sites]
        # Clusters of a site are one item of at_least or more, or nothing.
        size = claim.at_least
        demand = sum(s.clusters for s in sites) if size == 1 else sum(s.clusters >= size for s in sites)
        each = [covering(self._case, pool) if claim.lost else pool.usable for pool in self._pools]
        # When a host is lost, homes and standbys carry the set.
        lost = bool(claim.lost or claim.lost_pool)
        room = {
            pool.pool: each[at] // size
            for at, pool in enumerate(self._pools)
            if each[at] >= size and any(self.may_use(site, at, standby=lost) for site in claim.sites)
        }
        lost_pool = claim.lost_pool if claim.lost_pool in room else ""
        return Counted(demand, room, min(room.values(), default=0) if claim.lost else 0, lost_pool)

    def _foreign(self, sites: Sequence[str]) -> Iterator[str]:
        """Yield why sites of the set force no host, each reason once with the sites it is true of."""
        reasons: dict[str, list[str]] = {}
        for name in dict.fromkeys(sites):
            if reason := self._forces_nothing(name):
                reasons.setdefault(reason, []).append(name)
        for reason, names in reasons.items():
            yield f"{named('site', names)} {reason}"

    def _forces_nothing(self, name: str) -> str:
        """Return why no plan that serves the same sites has to find room for a site; "" when each has to."""
        site = self._case.inventory.sites.get(name)
        if site is None:
            return "counted in it, but not in the fleet"
        if not site.needs_host:
            return "counted in it, but needing no shared host"
        if name not in self._case.rows or name in self._left_out:
            return "counted in it, but not served by the plan"
        own = site.own_tie_breaker == "possible"
        return "counted in it, but could have an own tie-breaker and need no shared host" if own else ""

    def _doubled(self, sites: Sequence[str]) -> Iterator[str]:
        twice = [site for site, times in Counter(sites).items() if times > 1]
        if twice:
            yield f"{named('site', twice)} listed in it more than once"

    def _rooms(self, claim: ClaimedSet, counted: Counted) -> Iterator[str]:
        """Compare pools. One too many only weakens the set, which was counted without it; one too few is false."""
        missing = [pool for pool in counted.room if pool not in claim.pools]
        if missing:
            yield f"{named('pool', missing)} missing from it: sites of the group may use hosts there"
        unknown = [pool for pool in claim.pools if pool not in self._case.inventory.pools]
        if unknown:
            yield f"{named('pool', unknown)} in it, but not in the fleet"
        for pool, room in claim.pools.items():
            if room != counted.room.get(pool, room):
                yield (
                    f"it gives a host of pool {pool} room for {room}; the fleet gives it room for {counted.room[pool]}"
                )

    def _too_few(self, row: Row) -> Iterator[str]:
        """Note a plan that fails the inequality itself: nothing can be concluded from what even it does not keep."""
        running = sum(room * self._running[pool] for pool, room in row.room.items())
        if running - sum(less for pool, less in row.less.items() if self._running[pool]) < row.least:
            yield "this group asks for more than even the hosts of the plan have, so the group cannot be right"


def covering(case: Case, pool: Pool) -> int:
    """Return the clusters that a host of ``pool`` may carry during a loss: the reserve may be used only if so said."""
    policy = case.inventory.policy
    if policy.loss_uses_reserve:
        return pool.cap
    return math.floor(pool.cap * (100 - Fraction(str(policy.reserve_percent))) / 100)


def _figures(claim: ClaimedSet, counted: Counted, row: Row) -> Iterator[str]:
    what = "clusters" if claim.at_least == 1 else f"sites of {claim.at_least} or more clusters"
    if claim.demand != counted.demand:
        yield f'its field "demand" is {claim.demand}; its sites have {counted.demand} {what}'
    if claim.lost != counted.lost:
        yield f'its field "lost" is {claim.lost}; the smallest host that it can use has room for {counted.lost}'
    if claim.lost_pool != counted.lost_pool:
        yield f"{named('pool', [claim.lost_pool])} not one that its sites can use, but it counts a lost host there"
    if claim.needs != row.least:
        yield (
            f'its field "needs" is {claim.needs}; {counted.demand + counted.lost} divided by {claim.divisor} and '
            f"rounded up is {row.least}"
        )


def named(noun: str, names: list[str]) -> str:
    """Return the first few names with their noun and verb."""
    shown = ", ".join(names[:_NAMED])
    if len(names) == 1:
        return f"{noun} {shown} is"
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return f"{noun}s {shown}{more} are"
