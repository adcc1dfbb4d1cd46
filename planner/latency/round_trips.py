"""What is known of the round-trip time of pairs: one set of columns from the sources to the plan."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from planner.fleet import Bools, Floats, Ints, Moments
from planner.plan import Evidence

EVIDENCE: tuple[Evidence, ...] = ("measured", "modelled", "estimated")
Kinds = npt.NDArray[np.int8]  # positions in `EVIDENCE`


@dataclass(frozen=True, eq=False)
class RoundTrips:
    """Columns of shape (pairs,).

    ``rtt_ms`` is ``inf`` where the percentile falls on lost probes. ``loss_percent`` is NaN where unknown,
    ``pair_cost`` 0 where blank. ``evidence`` is the position in `EVIDENCE` of what ``rtt_ms`` rests on.
    ``measured_at`` (datetime64[us]) is when it was measured, NaT where unknown or not measured.
    """

    rtt_ms: Floats
    loss_percent: Floats
    pair_cost: Floats
    evidence: Kinds
    measured_at: Moments

    def __len__(self) -> int:
        return len(self.rtt_ms)

    def take(self, rows: Bools | Ints | slice) -> Self:
        """Return the rows that a mask, positions or a slice select."""
        return dataclasses.replace(self, **{name: column[rows] for name, column in vars(self).items()})

    def figures(self, rows: Bools | Ints | slice) -> RoundTrips:
        """Return these columns alone, of the rows that a mask, positions or a slice select."""
        return RoundTrips(*(column[rows] for column in self._columns()))

    def at(self, rows: Ints) -> RoundTrips:
        """Return the rows at positions; -1 is a pair of which nothing is known, with NaN as its ``rtt_ms``."""
        nothing = (np.nan, np.nan, 0.0, 0, np.datetime64("NaT", "us"))
        known = zip(self._columns(), nothing, strict=True)
        return RoundTrips(*(np.append(column, np.array([value], dtype=column.dtype))[rows] for column, value in known))

    def _columns(self) -> list[npt.NDArray[Any]]:
        return [getattr(self, each.name) for each in dataclasses.fields(RoundTrips)]
