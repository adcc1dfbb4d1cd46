"""What sizing has settled before it becomes a Plan: counts, who goes where, who sits on which host, who stands by."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from planner.arrays import Ints, int_array
from planner.sizing.solution.counts import Sized
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seating


@dataclass(frozen=True)
class Draft:
    """``standbys`` names the standby of each seat, None for none."""

    sized: Sized
    placement: Placement
    seating: Seating
    standbys: tuple[str | None, ...]

    @cached_property
    def used(self) -> set[str]:
        """The hosts that carry a site or stand by for one."""
        homes = {seat.host for seat in self.seating.seats}
        return homes.union(filter(None, self.standbys))

    @property
    def in_use(self) -> Seating:
        """The seating without the names of hosts that neither carry a site nor stand by for one."""
        names = {p: [name for name in mine if name in self.used] for p, mine in self.seating.names.items()}
        return Seating(self.seating.seats, names)

    @cached_property
    def bare(self) -> Ints:
        """The sites on shared hosts without a standby for all of their clusters, ascending."""
        seats = zip(self.seating.seats, self.standbys, strict=True)
        without = [seat.site for seat, standby in seats if standby is None]
        return np.unique(int_array(without))
