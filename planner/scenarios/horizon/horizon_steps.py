"""The nouns of a horizon: periods, purchases, moves of sites, and what is needed next."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from planner.fleet import Finding, Source
from planner.plan import Status


@dataclass(frozen=True, slots=True)
class Period:
    """One step; both days are part of it."""

    name: str
    first: dt.date
    last: dt.date


@dataclass(frozen=True, slots=True)
class Step:
    """What one period comes to. ``least`` is the fewest hosts that this period alone could do with, proven.

    ``hosts`` are (pool, hosts) of pools where some stand, needed or not; ``bought``, ``moved_in`` and ``retired``
    likewise changes at its start. ``room`` is what all hosts can carry. ``moves`` are sites whose host changes,
    ``forced`` those of them whose pool may not serve them any more or that need no shared host; ``moves_proven``: fewer
    would not do for these hosts. ``cost`` is what is paid in the period and ``worth`` its value today; both None
    without prices.
    """

    period: Period
    sites: int
    clusters: int
    hosts: tuple[tuple[str, int], ...]
    room: int
    least: int
    least_proven: bool
    bought: tuple[tuple[str, int], ...]
    moved_in: tuple[tuple[str, int], ...]
    retired: tuple[tuple[str, int], ...]
    moves: tuple[tuple[str, str, str], ...]  # site, from host, to host ("" for none)
    forced: int
    moves_proven: bool
    unserved: tuple[str, ...]
    cost: float | None
    worth: float | None

    @property
    def standing(self) -> int:
        """Hosts that stand: those of today and those bought, whether this period needs them or not."""
        return sum(number for _, number in self.hosts)


@dataclass(frozen=True, slots=True)
class NextHost:
    """When the next host is needed, why (``words``), and what would put it off (``delays``).

    ``day`` is the first day in the period on which the hosts of before do not do.
    """

    period: str
    day: dt.date
    pools: tuple[str, ...]
    words: str
    delays: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Horizon:
    """Hosts bought over all periods with their bound, then money; both are 0-gap when proven.

    ``worth`` is the value today of all that is paid, with ``worth_bound``; None without prices. ``objective`` is hosts
    (hosts bought come first) or cost. ``served_proven``: no plan serves more weight in any period; ``left_out_today``:
    sites that are served today and left out in some period.
    """

    objective: str
    bought: int
    bought_bound: int
    worth: float | None
    worth_bound: float | None
    steps: tuple[Step, ...]
    next_host: NextHost | None
    notes: tuple[Finding, ...] = ()
    sources: tuple[Source, ...] = ()
    currency: str = ""
    version: str = ""
    served_proven: bool = True
    left_out_today: int = 0

    @property
    def complete(self) -> bool:
        """Whether nobody is left out in any period."""
        return not any(step.unserved for step in self.steps)

    @property
    def status(self) -> Status:
        """How good the horizon is, as `Plan.status`."""
        return "optimal" if self.proven else "feasible"

    @property
    def proven(self) -> bool:
        """Whether no other way to buy does better on the objective, nor serves more weight."""
        if not self.served_proven:
            return False
        if self.objective == "hosts":
            return self.bought <= self.bought_bound
        assert self.worth is not None
        assert self.worth_bound is not None
        return self.worth <= self.worth_bound + 1e-6 * max(1.0, abs(self.worth))
