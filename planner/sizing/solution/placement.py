"""Which site uses which pool, and the aims that choose among equals."""

from __future__ import annotations

from dataclasses import dataclass

from planner.fleet import Bools, Floats, Ints


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


@dataclass(frozen=True, slots=True)
class PairCost:
    """A cost that is settled: its value on each eligible pair (E,), and the step that it counts in."""

    values: Floats
    step: float
