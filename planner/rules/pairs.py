"""Site-pool pairs under test."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Fleet, Floats, Ints, Moments
from planner.latency import PairTable


@dataclass(frozen=True)
class Pairs:
    """Site-pool pairs under test: positions in the fleet's tables and what latency knows of them.

    All arrays have shape (pairs,). ``rtt_ms`` and ``loss_percent`` are NaN where unknown, ``measured_at`` is NaT.
    """

    site: Ints
    pool: Ints
    rtt_ms: Floats
    loss_percent: Floats
    pair_cost: Floats
    evidence: Ints
    measured_at: Moments

    def take(self, keep: Bools | Ints) -> Pairs:
        """Return the pairs that ``keep`` (a mask or positions) selects."""
        return Pairs(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))

    def __len__(self) -> int:
        return len(self.site)


def pool_pairs(fleet: Fleet, known: PairTable) -> Pairs:
    """Return one pair for each known site-hub pair and each pool at that hub."""
    order = np.argsort(fleet.hub_of_pool, kind="stable")
    pools_at = np.bincount(fleet.hub_of_pool, minlength=len(fleet.hub_ids))
    first = np.concatenate(([0], np.cumsum(pools_at)))
    copies = pools_at[known.hub]
    row = np.repeat(np.arange(len(known.hub)), copies)
    within = np.arange(len(row)) - np.repeat(np.cumsum(copies) - copies, copies)
    pairs = Pairs(
        site=known.site[row].astype(np.int64),
        pool=order[first[known.hub[row]] + within].astype(np.int64),
        rtt_ms=known.rtt_ms[row],
        loss_percent=known.loss_percent[row],
        pair_cost=known.pair_cost[row],
        evidence=known.evidence[row].astype(np.int64),
        measured_at=known.measured_at[row],
    )
    key = pairs.site * len(fleet.pool_ids) + pairs.pool
    return pairs if (np.diff(key) > 0).all() else pairs.take(np.argsort(key, kind="stable"))
