"""The answer of the model of single hosts, read from its columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Ints
from planner.sizing.solution.seating import Seat


@dataclass(frozen=True)
class HostByHost:
    """An answer: seats (hosts are named by pool and number), the standby of each, who is left out, value and bound."""

    seats: tuple[Seat, ...]
    standbys: tuple[str | None, ...]
    unserved: Bools
    own: Bools
    value: float
    bound: float
    word: str


def name(p: int, number: int) -> str:
    """Return the working name of a host: pool and number, both from 0."""
    return f"{p}/{number}"


def units_placed(units: Ints, covered: Ints, lives: Ints, standby: Ints) -> list[tuple[int, int, int]]:
    """Return position of x, units and standby (-1: none) of what lives together and has one standby.

    ``units`` (X,) are the values of x, ``covered`` (Y,) those of y; ``lives`` and ``standby`` (Y,) as in the model.
    """
    found: dict[int, list[tuple[int, int, int]]] = {at: [] for at in np.flatnonzero(units).tolist()}
    bare = units.copy()
    for y in np.flatnonzero(covered).tolist():
        at = int(lives[y])
        found[at].append((at, int(covered[y]), int(standby[y])))
        bare[at] -= covered[y]
    for at in np.flatnonzero(bare).tolist():
        found[at].append((at, int(bare[at]), -1))
    return [seat for seats in found.values() for seat in seats]
