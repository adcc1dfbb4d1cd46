"""Fewest moves against the loss of a host, for small fleets: whole homes, and the room that each host keeps free.

Sets and data as in `stay_on_hosts`; R_h clusters that h may carry during a loss, sets T of hosts
Variables
    y_i, m_ij in {0, 1}  site i stays on its host; it moves to host j
    s_ha in {0, 1}       host h keeps a clusters free or more, a = 1..A
    e_h                  clusters beyond A that it keeps free
Minimise sum of m_ij over sites that have a host today, subject to (1), (2) and (6) there, and
    (7) sum of k_i over all who live on h + sum_a s_ha + e_h <= R_h r_h,  s_h,a+1 <= s_ha,  e_h <= R_h s_hA
    (8) sum of floor(k_i / t) over sites at home on g that only hosts of T can follow
        <= sum over T but g of (sum of s_ha over multiples a of t + (A mod t) / t s_hA + e_h / t)
Every plan as good in which nobody goes without a standby who can have one is a point of it: of a host with room for a,
at most floor(a / t) sites of t clusters find room, and a site of k clusters takes the place of floor(k / t) of them.
(8) are Hall's condition for each t (P. Hall, J. London Math. Soc. 10 (1935) 26-30), of the sets T that some site has.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from planner.arrays import as_floats, indices, minus_ones, trues
from planner.fleet import Bools, Ints
from planner.sizing.cover.stay_on_hosts import StayOnHosts
from planner.sizing.cover.stay_with_standbys import StayWithStandbys
from planner.sizing.solvers.model_builder import Loads, Term, Terms, add_room

_MOST_ROWS = 6_000
_MOST_FREE = 24  # clusters that a host keeps free, of which each is told apart


class StayWithReserve(StayOnHosts):
    """The program of whole homes on the hosts that ``program`` lists, J of them."""

    whole = True
    seconds = 30.0
    options: Mapping[str, float | bool] = {}

    def __init__(self, program: StayWithStandbys) -> None:
        super().__init__(program)
        self.stays = np.flatnonzero(self.now >= 0)
        self.standby = minus_ones(len(self.stays))
        can = self.ground.coverable
        everywhere = trues((1, self.problem.pools))
        sets = np.concatenate((everywhere, self.eligible[can]))
        self.sets = np.unique(sets, axis=0)
        units = self.problem.clusters[can]
        self.sizes = np.union1d(1, units)
        largest = int(units.max(initial=1))
        self.most_free = min(_MOST_FREE, 2 * largest)

    @property
    def small(self) -> bool:
        """Whether it is solved in seconds."""
        sets = len(self.sets) * len(self.sizes)
        rows = sets * len(self.pool)
        return super().small and rows <= _MOST_ROWS

    def _losses(self) -> None:
        """Add (7) and (8)."""
        built, clusters = self.built, self.problem.clusters
        free, beyond = self._free()
        column = minus_ones((self.problem.sites, len(self.pool)))
        column[self.stays, self.lives_on] = self.y
        column[self.moves, self.to] = self.m
        for g, members, onto in self._sets():
            for size in self.sizes.tolist():
                large = members & (clusters >= size)
                sites = np.flatnonzero(large & (column[:, g] >= 0))
                if len(sites):
                    units = as_floats(clusters[sites] // size)
                    in_steps = free[onto, size - 1 :: size].ravel()
                    at_home: Term = column[sites, g], units
                    steps: Term = in_steps, -1.0
                    part = self.most_free % size / size
                    rest: Term = free[onto, -1], -part
                    more: Term = beyond[onto], -1.0 / size
                    built.at_most([at_home, steps, rest, more], 0.0)

    def _free(self) -> tuple[Ints, Ints]:
        """Add (7); return the columns s (J, A) and e (J,)."""
        built, most = self.built, self.most_free
        hosts = len(self.pool)
        room = self.ground.room[self.pool]
        steps = built.block(hosts * most, upper=1.0, whole=True)
        free = steps.reshape(hosts, most)
        beyond = built.block(hosts)
        each = indices(self.pool)
        for a in range(1, most):
            built.no_more(free[:, a], free[:, a - 1])
        largest: Terms = each, free[:, -1], -as_floats(room)
        itself: Terms = each, beyond, 1.0
        built.below([largest, itself], hosts)
        on = np.repeat(each, most)
        kept = Loads(on, steps, np.ones(len(on)))
        more = Loads(each, beyond, np.ones(hosts))
        add_room(built, room, self.r, [*self.living, kept, more])
        return free, beyond

    def _sets(self) -> Iterator[tuple[int, Bools, Ints]]:
        """Yield hosts g and, for each set T, the sites (S,) that only hosts of T can follow there, and these hosts."""
        for g, p in enumerate(self.pool.tolist()):
            follows = self.ground.follows[p]
            can_follow = self.eligible & follows
            for among in self.sets:
                outside = (can_follow & ~among).any(axis=1)
                onto = np.flatnonzero((among & follows)[self.pool])
                members = self.ground.coverable & ~outside
                yield g, members, onto[onto != g]
