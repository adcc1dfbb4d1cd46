"""The assignment in force before the plan, as sizing needs it: which pairs keep a site, and who moves."""

from __future__ import annotations

from collections.abc import Collection, Sequence, Set
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from planner.arrays import falses, rounded, totals
from planner.fleet import Bools, Fleet, Ints
from planner.sizing.instance.problem import Problem
from planner.today import Today, read_today

if TYPE_CHECKING:
    from planner.sizing.solution.seating import Seat


@dataclass(frozen=True)
class InForce:
    """What is in force today, for a problem of S sites and E eligible pairs.

    ``incumbent`` (E,) marks the pairs that keep a site on its pool, or may where Current names no host. ``hub`` and
    ``host`` (S) are names, ``""`` for none. ``gone`` counts sites of Current that need no shared host any more: every
    plan moves them.
    """

    incumbent: Bools
    problem: Problem = field(repr=False)
    today: Today = field(repr=False)
    hub: list[str]
    host: list[str]
    gone: int

    @cached_property
    def nowhere(self) -> Bools:
        """Sites (S,) that have no host today, so that nothing they do is a move."""
        return np.array([not hub for hub in self.hub], dtype=np.bool_)

    def staying_on(self, pool: Ints, names: Sequence[str]) -> Bools:
        """Mark the hosts on which sites stay, shape (S, M); hosts of ``pool`` (M,) have ``names``, "" for new ones.

        That is the host of today, or where nobody named it any in its pool that runs today: those that Current names,
        and of the others as many as exist beside them.
        """
        problem = self.problem
        old = np.isin(names, list(self.today.named))
        left = problem.existing - np.bincount(pool[old], minlength=problem.pools)
        for h in np.flatnonzero(~old).tolist():
            old[h] = left[pool[h]] > 0
            left[pool[h]] -= 1
        pools = falses((problem.sites, problem.pools))
        pools[problem.site[self.incumbent], problem.pool[self.incumbent]] = True
        mine = np.array(self.host)[:, None]
        on_any = (mine == "") & old
        stays: Bools = pools[:, pool] & (on_any | (mine == np.array(names)))
        return stays

    @cached_property
    def leaves(self) -> Bools:
        """Pairs (E,) that take a site with a host today off its pool."""
        marks: Bools = ~self.incumbent & ~self.nowhere[self.problem.site]
        return marks

    def moved(self, seats: Sequence[Seat], own: Bools, idle: Collection[str] = ()) -> int:
        """Return how many sites have another host than today, those that go over to their own (S,) included.

        Hosts that are ``idle`` carry nobody and stand by: they may be among those that exist.
        """
        used = {*idle, *(seat.host for seat in seats)}
        runs = self.today.named & used
        for p in {seat.pool for seat in seats}:
            existing = int(self.problem.existing[p])
            runs |= self.today.running(p, existing, used)
        known = [seat for seat in seats if self.hub[seat.site]]
        elsewhere = {seat.site for seat in known if not self._keeps(seat, runs)}
        given_up = int((own & ~self.nowhere).sum())
        return len(elsewhere) + given_up + self.gone

    def _keeps(self, seat: Seat, runs: Set[str]) -> bool:
        if self.host[seat.site]:
            return self.host[seat.site] == seat.host
        return seat.host in runs and bool(self.incumbent[seat.pair])


def today_of(fleet: Fleet, problem: Problem) -> Today:
    """Return today's assignment with names for all hosts of each pool that exist or can be of use.

    Where more are named than fit, which of them run on is for the plan to choose.
    """
    # A host carries or stands by for one cluster at the least.
    clusters = problem.clusters[problem.site]
    carried = totals(problem.pool, clusters, problem.pools)
    useful = np.minimum(problem.max_hosts, rounded(2 * carried))
    most = np.maximum(problem.existing, useful)
    everyone = np.full(problem.pools, np.iinfo(np.int64).max)
    return read_today(fleet, problem.pool_at, fit=everyone, most=most)


def incumbent_pairs(fleet: Fleet, problem: Problem, today: Today) -> Bools:
    """Mark the pairs (E,) that keep a site on the pool that serves it today.

    A site whose host Current does not name stays on a host that runs: not in a pool where none does.
    """
    runs = [
        count > 0 or not today.named.isdisjoint(names)
        for count, names in zip(problem.existing.tolist(), today.names, strict=True)
    ]
    pool_of_host = {name: p for p, names in enumerate(today.names) for name in names}
    ids = [fleet.pool_ids[at] for at in problem.pool_at]
    marks = falses(len(problem.pool))
    for s, at in enumerate(problem.site_at):
        site = fleet.site_ids[at]
        if site not in today.hub:
            continue
        named = today.host[site]
        at_pairs = problem.pairs_of(s)
        pools = problem.pool[at_pairs]
        may_be = today.may_be.get(site, ())
        if named:
            marks[at_pairs] = pools == pool_of_host.get(named, -1)
        else:
            marks[at_pairs] = [runs[p] and ids[p] in may_be for p in pools]
    return marks


def in_force(fleet: Fleet, problem: Problem, today: Today) -> InForce:
    """Return what moves are counted against; see `InForce`."""
    sites = [fleet.site_ids[at] for at in problem.site_at]
    needs = dict(zip(fleet.site_ids, fleet.needs_host.tolist(), strict=True))
    return InForce(
        incumbent=incumbent_pairs(fleet, problem, today),
        problem=problem,
        today=today,
        hub=[today.hub.get(site, "") for site in sites],
        host=[today.host.get(site, "") for site in sites],
        gone=sum(not needs.get(site, True) for site in today.hub),
    )
