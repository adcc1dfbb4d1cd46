"""Does each set of sites force what a proof of cover says? Counted again from the fleet and from who is covered.

A plan that serves the same sites, and covers the same ones against the loss of a hub or zone, has host counts n and
room s_q that it keeps free on an ordinary day. For a set S of sites and every pool p that one of them may have as home,
the clusters of S there are at most

    C_p n_p                          what its hosts may carry,
    R_p n_p - s_p                    what they may carry during a loss, less what is kept free,
    sum of s_q over standbys q       of the sites of S there, if all of them are covered: p is lost with its group,

so the sum of any such terms is at least the clusters of S. Pools of a group share a loss; what q keeps free for all of
them is s_q at most, so q counts once for a group. Sources: as for `planner.verify.proof_sets`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from planner.verify.case import Case
from planner.verify.cover import losses_of
from planner.verify.host_model import HostModel, exact, host_model
from planner.verify.proof_form import ClaimedCoverSet
from planner.verify.proof_sets import Recount, covering, named
from planner.verify.violation import Violation


@dataclass(frozen=True, slots=True)
class CoverRow:
    """``sum hosts_p n_p + sum room_q s_q >= least``, by pool id."""

    hosts: Mapping[str, int]
    room: Mapping[str, int]
    least: int


class CoverRecount:
    """Counts sets of a proof of cover again."""

    def __init__(self, case: Case) -> None:
        self._case, self._recount = case, Recount(case)
        self._pools = list(case.inventory.pools.values())
        self._at = {pool.pool: at for at, pool in enumerate(self._pools)}
        self._losses = [frozenset(losses_of(case, "", pool)) for pool in self._pools]
        hit = Counter(loss for losses in self._losses for loss in losses)
        self._group = [min(losses, key=lambda loss: (-hit[loss], loss), default="") for losses in self._losses]
        self._covered = {row.site for row in case.plan.assignments if row.standby}

    def check(self, claim: ClaimedCoverSet, where: str) -> tuple[CoverRow | None, list[Violation]]:
        """Return the inequality that the set forces, and what the plan says about it that is not so."""
        wrong = [*self._recount.objections(claim.sites)]
        if self._case.inventory.policy.cover not in ("hub", "zone"):
            wrong.append("it counts standbys, but cover in Policy is neither hub nor zone")
        unknown = {*claim.full, *claim.kept, *claim.ready, *(q for qs in claim.ready.values() for q in qs)} - {
            *self._at
        }
        if unknown:
            wrong.append(f"{named('pool', sorted(unknown))} in it, but not in the fleet")
        if not wrong:
            wrong += [*self._uncounted(claim)]
            demand = sum(self._case.inventory.sites[site].clusters for site in claim.sites)
            if demand != claim.demand:
                wrong.append(f'its field "demand" is {claim.demand}; its sites have {demand} clusters')
        if wrong:
            return None, [Violation("proof_set", where, text) for text in wrong]
        return self._row(claim), []

    def _uncounted(self, claim: ClaimedCoverSet) -> Iterator[str]:
        """Yield what the set leaves out: homes, or standbys of homes that are counted by these."""
        for pool, at in self._at.items():
            if pool in claim.full or pool in claim.kept:
                continue
            users = [site for site in claim.sites if self._recount.may_use(site, at, standby=False)]
            bare = [site for site in users if site not in self._covered]
            counted = {self._at[q] for q in claim.ready.get(pool, ())}
            missing = {
                self._pools[q].pool
                for site in users
                for q in range(len(self._pools))
                if q not in counted
                and not self._losses[at] & self._losses[q]
                and self._recount.may_use(site, q, standby=True)
            }
            if pool not in claim.ready:
                if bare or missing:  # else nobody of the group lives there, who could have no standby
                    yield f"{named('pool', [pool])} missing from it: sites of the group may use hosts there"
                continue
            if bare:
                yield f"{named('site', bare)} without standby in the plan, but counted as if with one, at pool {pool}"
            if missing:
                yield f"{named('pool', sorted(missing))} missing from it: standbys for pool {pool} may be there"

    def _row(self, claim: ClaimedCoverSet) -> CoverRow:
        hosts: Counter[str] = Counter()
        room: Counter[str] = Counter()
        for pool in claim.full:
            hosts[pool] += self._pools[self._at[pool]].usable
        for pool in claim.kept:
            hosts[pool] += covering(self._case, self._pools[self._at[pool]])
            room[pool] -= 1
        for _, q in {(self._group[self._at[p]], q) for p, standbys in claim.ready.items() for q in standbys}:
            room[q] += 1
        return CoverRow(hosts, room, claim.demand)

    def model(self, rows: Sequence[CoverRow]) -> HostModel | None:
        """Return the model of ``rows`` over n, then s, with the rows R_p n_p - s_p >= 0 after them."""
        plain = host_model(self._pools, self._case.plan.objective, ())
        if plain is None:
            return None
        pools, size = [pool.pool for pool in self._pools], len(self._pools)
        room_in_loss = [covering(self._case, pool) for pool in self._pools]
        room = np.zeros((len(rows) + size, 2 * size), dtype=object)
        for r, row in enumerate(rows):
            room[r] = [row.hosts.get(p, 0) for p in pools] + [row.room.get(p, 0) for p in pools]
        for p in range(size):
            room[len(rows) + p, [p, size + p]] = room_in_loss[p], -1
        most = [room_in_loss[p] * int(plain.most[p]) for p in range(size)]
        nothing = exact([0] * size)
        return HostModel(
            room=room,
            less=np.zeros_like(room),
            least=exact([row.least for row in rows] + [0] * size),
            price=np.concatenate((plain.price, nothing)),
            unit=plain.unit,
            free=np.concatenate((plain.free, nothing)),
            most=np.concatenate((plain.most, exact(most))),
            whole=plain.whole,
        )

    def multipliers(self, rows: Sequence[CoverRow], claimed: Sequence[Fraction]) -> list[Fraction]:
        """Return the multipliers of all rows of `model`: those of R_p n_p - s_p >= 0 are the best there are."""
        last = []
        for pool in self._pools:
            kept = sum((y * row.room.get(pool.pool, 0) for y, row in zip(claimed, rows, strict=True)), Fraction(0))
            last.append(max(Fraction(0), kept))
        return [*claimed, *last]
