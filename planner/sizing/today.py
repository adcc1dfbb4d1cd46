"""The assignment in force before the plan, as sizing needs it: host names of each pool and who sits where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from planner.fleet import Bools, Fleet
from planner.sizing.problem import Problem

if TYPE_CHECKING:
    from planner.sizing.hosts import Seat


@dataclass(frozen=True)
class Today:
    """``hub`` and ``host`` map a site id to its current hub and host (``""`` where the host is not named).

    ``names`` lists, for each pool of the problem, its hosts: existing ones first, then as many new ones
    as may be needed. ``existing`` (P,) counts the existing ones among them.
    """

    hub: dict[str, str]
    host: dict[str, str]
    names: list[list[str]]

    def stays(self, fleet: Fleet, problem: Problem) -> Bools:
        """Mark the pairs (E,) that keep a site on the pool that serves it today."""
        pool_of_host = {name: p for p, names in enumerate(self.names) for name in names}
        hub_of_pool = [fleet.hub_ids[fleet.hub_of_pool[at]] for at in problem.pool_at]
        marks = np.zeros(len(problem.pool), dtype=np.bool_)
        for s, at in enumerate(problem.site_at):
            site = fleet.site_ids[at]
            if site not in self.hub:
                continue
            pool = pool_of_host.get(self.host[site])
            for e in range(problem.indptr[s], problem.indptr[s + 1]):
                p = problem.pool[e]
                marks[e] = p == pool if pool is not None else hub_of_pool[p] == self.hub[site] and not self.host[site]
        return marks

    def in_force(self, fleet: Fleet, problem: Problem) -> InForce:
        """Return what moves are counted against; see `InForce`."""
        sites = [fleet.site_ids[at] for at in problem.site_at]
        needs = dict(zip(fleet.site_ids, fleet.needs_host.tolist(), strict=True))
        return InForce(
            stays=self.stays(fleet, problem),
            hub=[self.hub.get(site, "") for site in sites],
            host=[self.host.get(site, "") for site in sites],
            hub_of_pool=[fleet.hub_ids[fleet.hub_of_pool[at]] for at in problem.pool_at],
            gone=sum(not needs.get(site, True) for site in self.hub),
        )


@dataclass(frozen=True)
class InForce:
    """What is in force today, for a problem of S sites and E eligible pairs.

    ``stays`` (E,) marks the pairs that keep a site on its pool. ``hub`` and ``host`` (S) are names, ``""`` for none;
    ``hub_of_pool`` (P). ``gone`` counts sites of Current that need no shared host any more: every plan moves them.
    """

    stays: Bools
    hub: list[str]
    host: list[str]
    hub_of_pool: list[str]
    gone: int

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
        return self.hub[seat.site] == self.hub_of_pool[seat.pool]


def read_today(fleet: Fleet, problem: Problem) -> Today:
    """Return today's assignment and a name for every host that a plan may run.

    Names in use at a hub go to its pools in order of pool id, as many as each pool has existing hosts; new
    names are HUB-01, HUB-02, … without those in use. Hosts that are to be emptied carry nobody in a plan.
    """
    current = fleet.current
    hub = dict(zip(current["site"], current["hub"], strict=True))
    host = dict(zip(current["site"], current["host"], strict=True))
    in_use: dict[str, list[str]] = {}
    for name, at in sorted({(h, where) for h, where in zip(current["host"], current["hub"], strict=True) if h}):
        if name not in fleet.retiring_hosts:
            in_use.setdefault(at, []).append(name)
    taken = set(fleet.retiring_hosts).union(*in_use.values())
    names: list[list[str]] = [[] for _ in range(problem.pools)]
    pools_at: dict[str, list[int]] = {}
    for p, at in enumerate(problem.pool_at):
        pools_at.setdefault(fleet.hub_ids[fleet.hub_of_pool[at]], []).append(p)
    for at_hub, pools in sorted(pools_at.items()):
        waiting = in_use.get(at_hub, [])
        for p in pools:
            most = int(problem.max_hosts[p]) if p == pools[-1] else int(problem.existing[p])
            names[p], waiting = waiting[:most], waiting[most:]
        fresh = (f"{at_hub}-{number:02d}" for number in range(1, 1_000_000))
        for p in pools:
            while len(names[p]) < max(problem.max_hosts[p], problem.existing[p]):
                name = next(n for n in fresh if n not in taken)
                taken.add(name)
                names[p].append(name)
    return Today(hub, host, names)
