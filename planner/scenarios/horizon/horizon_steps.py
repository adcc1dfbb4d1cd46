"""The nouns of a horizon: periods, purchases, moves of sites, and what is needed next."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import pandas as pd

from planner.counted_words import counted
from planner.fleet import Finding, Source
from planner.frame_of import TableOf, frame_of
from planner.plan import Status
from planner.plots import draw_stack, titled
from planner.shown import Shown, told


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
    without prices. ``order_by`` are (pool, last day for the order) of hosts bought, where the lead time is known.
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
    order_by: tuple[tuple[str, dt.date], ...] = ()

    @property
    def standing(self) -> int:
        """Hosts that stand: those of today and those bought, whether this period needs them or not."""
        return sum(number for _, number in self.hosts)


@dataclass(frozen=True, slots=True)
class NextHost:
    """When the next host is needed, why (``words``), and what would put it off (``delays``).

    ``day`` is the first day in the period on which the hosts of before do not do. ``order_by`` is the last day for the
    first of its orders; None where no lead time is known.
    """

    period: str
    day: dt.date
    pools: tuple[str, ...]
    words: str
    delays: tuple[str, ...]
    order_by: dt.date | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Horizon(Shown):
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

    notes_frame = TableOf("notes")

    @property
    def periods_frame(self) -> pd.DataFrame:
        """All periods as a DataFrame, one row for each; hosts and sites are counted."""
        frame = frame_of(Step, self.steps, ("period", "moves", "hosts", "order_by"), ("standing",))
        for name in ("bought", "moved_in", "retired"):
            frame[name] = [sum(number for _, number in getattr(step, name)) for step in self.steps]
        frame["moves"] = [len(step.moves) for step in self.steps]
        frame["unserved"] = [len(step.unserved) for step in self.steps]
        return pd.concat([frame_of(Period, (step.period for step in self.steps)), frame], axis="columns")

    @property
    def hosts_frame(self) -> pd.DataFrame:
        """Hosts that stand as a DataFrame, one row for each period and pool."""
        rows = [(step.period.name, pool, number) for step in self.steps for pool, number in step.hosts]
        return pd.DataFrame(rows, columns=["period", "pool", "hosts"])

    @property
    def moves_frame(self) -> pd.DataFrame:
        """Sites that change host as a DataFrame, one row for each period and site; "" for no host."""
        rows = [(step.period.name, *move) for step in self.steps for move in step.moves]
        return pd.DataFrame(rows, columns=["period", "site", "from_host", "to_host"])

    @property
    def glance(self) -> str:
        """Sites unserved in some period, then what is bought with its proof, in one line."""
        out = {site for step in self.steps for site in step.unserved}
        return told(
            f"{counted(len(out), 'site')} unserved in some period" if out else "",
            f"{counted(self.bought, 'host')} to buy in {counted(len(self.steps), 'period')}",
            "proven" if self.proven else f"not proven, at least {self.bought_bound:,}",
            "" if self.worth is None else f"worth {self.worth:,.2f} {self.currency or 'money'} today",
        )

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

    def plot_hosts(self, ax: Any = None) -> Any:
        """Draw the hosts that stand in each period by pool, and return the Axes; see `planner.plots`."""
        table = self.hosts_frame.pivot(index="period", columns="pool", values="hosts").fillna(0)
        table = table.reindex([step.period.name for step in self.steps], fill_value=0)
        return titled(draw_stack(table, ax), "Hosts that stand in each period", "period", "hosts")
