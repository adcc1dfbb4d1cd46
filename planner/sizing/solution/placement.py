"""Which site uses which pool, and the aims that choose among equals."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from planner.arrays import int_array
from planner.fleet import Bools, Floats, Ints
from planner.sizing.solution.seating import Seat


@dataclass(frozen=True, slots=True)
class Placement:
    """Who goes where.

    ``pair``, ``units`` (X,): eligible pairs used and the clusters on each. ``unserved``, ``own`` (S,): sites left out.
    ``costs``: totals of the cost aims in their order, pair costs first where money is the objective.
    """

    pair: Ints
    units: Ints
    unserved: Bools
    own: Bools
    costs: tuple[float, ...]

    @classmethod
    def of(cls, seats: Sequence[Seat], unserved: Bools, own: Bools) -> Placement:
        """Return who goes where by ``seats``; nothing is told of costs."""
        clusters: Counter[int] = Counter()
        for seat in seats:
            clusters[seat.pair] += seat.clusters
        pairs = sorted(clusters)
        units = int_array([clusters[pair] for pair in pairs])
        return cls(int_array(pairs), units, unserved, own, ())


@dataclass(frozen=True, slots=True)
class PairCost:
    """A cost that is settled: its value on each eligible pair (E,), and the step that it counts in."""

    values: Floats
    step: float
