"""What one source says about site-hub pairs, in the one form that all sources share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from planner.fleet import Bools, Fleet, Floats, Ints, Moments, positions


@dataclass(frozen=True, slots=True, eq=False)
class PairFigures:
    """Figures of one source; arrays of shape (pairs,), sorted by ``key``, each key once. NaN, NaT are "not stated".

    ``key`` is ``site * len(fleet.hub_ids) + hub`` for the positions of site and hub in the fleet. ``measured_at``
    (datetime64[us]) dates the round-trip time.
    """

    key: Ints
    rtt_ms: Floats
    loss_percent: Floats
    pair_cost: Floats
    measured_at: Moments

    @classmethod
    def of_rtt(cls, key: Ints, rtt_ms: Floats) -> PairFigures:
        """Return figures of a source that knows round-trip times only."""
        unstated = np.full(len(key), np.nan)
        return cls(key, rtt_ms, unstated, unstated, undated(len(key)))

    @classmethod
    def none(cls) -> PairFigures:
        """Return the figures of a source that knows nothing."""
        return cls.of_rtt(np.empty(0, dtype=np.int64), np.empty(0))


def undated(rows: int) -> Moments:
    """Return ``rows`` times that are not known."""
    return np.full(rows, np.datetime64("NaT", "us"))


def pair_keys(fleet: Fleet, table: pd.DataFrame) -> tuple[Ints, Bools]:
    """Return the keys of the rows of ``table`` (columns site and hub), and which rows have one.

    A row whose site or hub the fleet does not have has none; intake reports it.
    """
    site = positions(table["site"], fleet.site_ids)
    hub = positions(table["hub"], fleet.hub_ids)
    known = (site >= 0) & (hub >= 0)
    return (site * len(fleet.hub_ids) + hub)[known], known
