"""Parts of sites that change places, so that the clusters of a site use few hosts: what hosts carry stays as it is."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass

import numpy as np

from planner.fleet import Ints
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.draft import Draft

_ROUNDS = 4

Slot = tuple[int, str, str]  # pool, host, standby ("" for none)


@dataclass
class Slots:
    """Where the parts of sites are: ``slot`` of each of ``part``, and the ``site`` of every part."""

    problem: Problem
    site: Ints
    part: list[int]
    slot: list[Slot]
    standby_pool: dict[str, int]

    @classmethod
    def of(cls, problem: Problem, site: Ints, draft: Draft) -> Slots:
        """Return the slots of a plan of parts; ``site`` (parts,) is the site of each."""
        seats = draft.seating.seats
        named = zip(seats, draft.standbys, strict=True)
        slot = [(seat.pool, seat.host, name or "") for seat, name in named]
        parts = [seat.site for seat in seats]
        return cls(problem, site, parts, slot, draft.seating.pool_of)

    def taken(self) -> list[tuple[int, str, str]]:
        """Return pair, host and standby of each seat."""
        pairs = self._pairs()
        return [(self._pair(part, pool), host, standby) for part, (pool, host, standby) in pairs]

    def bring_together(self) -> None:
        """Exchange slots of two sites where one then uses fewer and the other no more."""
        of_site: dict[int, Counter[Slot]] = defaultdict(Counter)
        seats_of: dict[tuple[int, Slot], list[int]] = defaultdict(list)
        sites_at: dict[Slot, set[int]] = defaultdict(set)
        for at, (part, slot) in enumerate(self._pairs()):
            if self.problem.clusters[part] > 1:
                continue  # a site that stays whole
            site = int(self.site[part])
            of_site[site][slot] += 1
            seats_of[site, slot].append(at)
            sites_at[slot].add(site)
        for _ in range(_ROUNDS):
            before = sum(map(len, of_site.values()))
            for site in sorted(site for site, slots in of_site.items() if len(slots) > 1):
                self._gather(site, of_site, seats_of, sites_at)
            if sum(map(len, of_site.values())) == before:
                return

    def _gather(
        self,
        site: int,
        of_site: dict[int, Counter[Slot]],
        seats_of: dict[tuple[int, Slot], list[int]],
        sites_at: dict[Slot, set[int]],
    ) -> None:
        """Bring what ``site`` has least of to where it has more, in exchange with a site that has enough there."""
        for least in sorted(of_site[site], key=lambda slot: (of_site[site][slot], slot)):
            for most in sorted(of_site[site], key=lambda slot: (-of_site[site][slot], slot)):
                if most == least or least not in of_site[site]:
                    continue
                other = self._partner(site, least, most, of_site, sites_at)
                if other is None:
                    continue
                number = of_site[site][least]
                mine = seats_of.pop((site, least))
                theirs = [seats_of[other, most].pop() for _ in range(number)]
                for seats, whose, slot in ((mine, site, most), (theirs, other, least)):
                    for at in seats:
                        self.slot[at] = slot
                    seats_of[whose, slot] += seats
                    of_site[whose][slot] += number
                    sites_at[slot].add(whose)
                for whose, slot in ((site, least), (other, most)):
                    of_site[whose][slot] -= number
                    if not of_site[whose][slot]:
                        del of_site[whose][slot]
                        sites_at[slot].discard(whose)

    def _partner(
        self,
        site: int,
        least: Slot,
        most: Slot,
        of_site: dict[int, Counter[Slot]],
        sites_at: dict[Slot, set[int]],
    ) -> int | None:
        """Return a site that may give ``most`` for ``least`` and then uses no more slots than before."""
        number = of_site[site][least]
        for other in sorted(sites_at[most] - {site}):
            theirs = of_site[other]
            frees = least in theirs or theirs[most] == number
            enough = theirs[most] >= number and frees
            if enough and self._may_take(other, least):
                return other
        return None

    def _may_take(self, site: int, slot: Slot) -> bool:
        part = int(np.searchsorted(self.site, site))
        pool, _, standby = slot
        mine = self._pools(part)
        homes = self.problem.homes[self.problem.pairs_of(part)]
        if pool not in mine or not homes[mine.index(pool)]:
            return False
        return not standby or self.standby_pool[standby] in mine

    def _pools(self, part: int) -> list[int]:
        mine = self.problem.pairs_of(part)
        pools: list[int] = self.problem.pool[mine].tolist()
        return pools

    def _pair(self, part: int, pool: int) -> int:
        place = self._pools(part).index(pool)
        return int(self.problem.indptr[part]) + place

    def _pairs(self) -> list[tuple[int, Slot]]:
        return list(zip(self.part, self.slot, strict=True))
