"""Site-pool pairs under test."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.fleet import Fleet, Ints
from planner.latency import PairTable, RoundTrips


@dataclass(frozen=True, eq=False)
class Pairs(RoundTrips):
    """Site-pool pairs under test: ``site`` and ``pool`` are positions in the fleet's tables.

    What latency knows of them has NaN and NaT where nothing is known.
    """

    site: Ints
    pool: Ints

    @classmethod
    def of(cls, site: Ints, pool: Ints, known: RoundTrips) -> Pairs:
        """Return pairs with what is known of them, row by row."""
        return Pairs(**vars(known.figures(slice(None))), site=site, pool=pool)


def pool_pairs(fleet: Fleet, known: PairTable) -> Pairs:
    """Return one pair for each known site-hub pair and each pool at that hub."""
    order = np.argsort(fleet.hub_of_pool, kind="stable")
    pools_at = np.bincount(fleet.hub_of_pool, minlength=len(fleet.hub_ids))
    first = np.concatenate(([0], np.cumsum(pools_at)))
    copies = pools_at[known.hub]
    row = np.repeat(np.arange(len(known.hub)), copies)
    within = np.arange(len(row)) - np.repeat(np.cumsum(copies) - copies, copies)
    pool = order[first[known.hub[row]] + within].astype(np.int64)
    pairs = Pairs.of(known.site[row].astype(np.int64), pool, known.figures(row))
    key = pairs.site * len(fleet.pool_ids) + pairs.pool
    return pairs if (np.diff(key) > 0).all() else pairs.take(np.argsort(key, kind="stable"))
