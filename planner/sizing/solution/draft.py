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
