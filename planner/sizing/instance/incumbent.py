"""The assignment in force before the plan, as sizing needs it: host names of each pool and who sits where."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from planner.fleet import Bools, Fleet, Ints
from planner.running import running_hosts
from planner.sizing.instance.problem import Problem

if TYPE_CHECKING:
    from planner.sizing.solution.seating import Seat


@dataclass(frozen=True)
class Today:
    """``hub`` and ``host`` map a site id to its current hub and host (``""`` where the host is not named).

    ``may_be`` are the ids of the pools that a site without a named host may be on. ``names`` lists, for each pool of
    the problem, its hosts: those in use first, then as many new ones as may be needed.
    """

    hub: dict[str, str]
    host: dict[str, str]
    may_be: dict[str, tuple[str, ...]]
    names: list[list[str]]

    def keeps(self, site: str, host: str, pool: str) -> bool:
        """Say whether a site that ``host`` of the pool ``pool`` carries stays where it is today."""
        named = self.host.get(site)
        return named == host if named else pool in self.may_be.get(site, ())

    def incumbent(self, fleet: Fleet, problem: Problem) -> Bools:
        """Mark the pairs (E,) that keep a site on the pool that serves it today."""
        pool_of_host = {name: p for p, names in enumerate(self.names) for name in names}
        ids = [fleet.pool_ids[at] for at in problem.pool_at]
        marks = np.zeros(len(problem.pool), dtype=np.bool_)
        for s, at in enumerate(problem.site_at):
            site = fleet.site_ids[at]
            if site not in self.hub:
                continue
            named = self.host[site]
            for e in range(problem.indptr[s], problem.indptr[s + 1]):
                p = problem.pool[e]
                marks[e] = p == pool_of_host.get(named) if named else ids[p] in self.may_be.get(site, ())
        return marks

    def in_force(self, fleet: Fleet, problem: Problem) -> InForce:
        """Return what moves are counted against; see `InForce`."""
        sites = [fleet.site_ids[at] for at in problem.site_at]
        needs = dict(zip(fleet.site_ids, fleet.needs_host.tolist(), strict=True))
        return InForce(
            incumbent=self.incumbent(fleet, problem),
            hub=[self.hub.get(site, "") for site in sites],
            host=[self.host.get(site, "") for site in sites],
            gone=sum(not needs.get(site, True) for site in self.hub),
        )


@dataclass(frozen=True)
class InForce:
    """What is in force today, for a problem of S sites and E eligible pairs.

    ``incumbent`` (E,) marks the pairs that keep a site on its pool. ``hub`` and ``host`` (S) are names, ``""`` for
    none. ``gone`` counts sites of Current that need no shared host any more: every plan moves them.
    """

    incumbent: Bools
    hub: list[str]
    host: list[str]
    gone: int

    @cached_property
    def host_numbers(self) -> Ints:
        """Today's host of each site as a number, the same for the same name; -1 for none; shape (S,)."""
        names = {name: number for number, name in enumerate(sorted(set(self.host) - {""}))}
        return np.array([names.get(name, -1) for name in self.host], dtype=np.int64)

    @cached_property
    def nowhere(self) -> Bools:
        """Sites (S,) that have no host today, so that nothing they do is a move."""
        return np.array([not hub for hub in self.hub], dtype=np.bool_)

    def moved(self, seats: Sequence[Seat], own: Bools) -> int:
        """Return how many sites have another host than today, those that go over to their own (S,) included."""
        elsewhere = {seat.site for seat in seats if self.hub[seat.site] and not self._keeps(seat)}
        return len(elsewhere) + int((own & ~self.nowhere).sum()) + self.gone

    def _keeps(self, seat: Seat) -> bool:
        if self.host[seat.site]:
            return self.host[seat.site] == seat.host
        return bool(self.incumbent[seat.pair])


def read_today(fleet: Fleet, problem: Problem, most: Ints | None = None) -> Today:
    """Return today's assignment and ``most`` (P,) names of hosts, by default for all that exist or can be of use.

    Names in use are of the pools that `planner.running` gives them; new names are HUB-01, HUB-02, … without those in
    use. Hosts that are to be emptied, and those beyond what their pool can hold, carry nobody in a plan.
    """
    current, running = fleet.current, running_hosts(fleet)
    rows = sorted(zip(current["site"], current["hub"], current["host"], strict=True))
    hub = {site: at for site, at, _ in rows}
    host = {site: name for site, _, name in rows}
    may_be = {site: pools for (site, at), pools in running.may_be.items() if hub[site] == at and not host[site]}
    taken = fleet.retiring_hosts | {name for _, name in running.pool}
    names: list[list[str]] = [[] for _ in range(problem.pools)]
    if most is None:
        # A host carries or stands by for one cluster at the least.
        useful = 2 * np.bincount(problem.pool, weights=problem.clusters[problem.site], minlength=problem.pools)
        most = np.maximum(problem.existing, np.minimum(problem.max_hosts, useful)).astype(np.int64)
    fresh: dict[str, Iterator[str]] = {}
    for p, at in enumerate(problem.pool_at):
        pool, at_hub = fleet.pool_ids[at], fleet.pools["hub"].iloc[at]
        in_use = [name for name in running.hosts.get(pool, ()) if name not in fleet.retiring_hosts]
        new = fresh.setdefault(at_hub, _fresh(at_hub, taken))
        kept = in_use[: int(problem.max_hosts[p])]
        names[p] = [*kept, *itertools.islice(new, max(0, int(most[p]) - len(kept)))]
    return Today(hub, host, may_be, names)


def _fresh(hub: str, taken: Collection[str]) -> Iterator[str]:
    """Yield names for hosts at ``hub`` that are not ``taken``."""
    return (name for number in itertools.count(1) if (name := f"{hub}-{number:02d}") not in taken)
