"""What sizing has settled before it becomes a Plan: counts, who goes where, who sits on which host, who stands by."""

from __future__ import annotations

from dataclasses import dataclass

from planner.sizing.solution.counts import Sized
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seating


@dataclass(frozen=True)
class Draft:
    """``standbys`` names the standby of each seat, None for none.

    ``short``: a site lacks a standby that another plan might give it, so the plan is not proven best.
    """

    sized: Sized
    placement: Placement
    seating: Seating
    standbys: tuple[str | None, ...]
    short: bool = False

    @property
    def in_use(self) -> Seating:
        """The seating without the names of hosts that neither carry a site nor stand by for one."""
        used = {seat.host for seat in self.seating.seats}.union(filter(None, self.standbys))
        names = {p: [name for name in mine if name in used] for p, mine in self.seating.names.items()}
        return Seating(self.seating.seats, names)
