"""The nouns of a comparison: designs with what they take, the mix, and prices at which the choice flips."""

from __future__ import annotations

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
class Costs:
    """Value today over the years compared, in money: buying, licence and rent, power, visits, and circuits of pairs."""

    buy: float = 0.0
    yearly: float = 0.0
    power: float = 0.0
    visits: float = 0.0
    circuits: float = 0.0

    @property
    def total(self) -> float:
        """All of it."""
        return self.buy + self.yearly + self.power + self.visits + self.circuits


@dataclass(frozen=True, slots=True)
class Design:
    """One design for the sites that need a third vote.

    ``nodes``: data nodes, ``hosts``: tie-breaker hosts, ``own``: built-in tie-breakers. ``sites``: those that it
    covers, ``unserved``: those for which it is out of reach. ``costs`` is None where a price is missing; ``a_year`` is
    their total in equal yearly parts that are worth as much, as objective ``cost`` counts it;
    ``down_minutes`` (a year, of one cluster on average) where the fleet does not say how often its parts are down.
    """

    name: str
    nodes: int
    hosts: int
    own: int
    sites: int
    unserved: int
    costs: Costs | None
    proven: bool = True
    down_minutes: float | None = None
    a_year: float | None = None

    @property
    def complete(self) -> bool:
        """Whether nobody is left out."""
        return not self.unserved

    @property
    def status(self) -> Status:
        """How good the plan behind it is, as `Plan.status`."""
        return "optimal" if self.proven else "feasible"


@dataclass(frozen=True, slots=True)
class Segment:
    """Prices of a stand-alone third vote, from ``low`` to ``high``, between which one plan is best.

    ``own`` clusters have their own vote and ``hosts`` hosts serve the rest for ``shared_cost``; the total at price x is
    ``shared_cost + own * x``. ``high`` is inf for the last.
    """

    low: float
    high: float
    own: int
    hosts: int
    shared_cost: float
    proven: bool
    own_sites: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """What the mix does for one site: ``design`` is own, shared or unserved.

    ``own_below`` is the price up to which it has its own vote in the plans found, 0 where it never has.
    """

    site: str
    clusters: int
    design: str
    pool: str
    own_below: float


@dataclass(frozen=True, slots=True, repr=False)
class Comparison(Shown):
    """Designs for the fleet as a whole, the mix of least cost, and all flip prices.

    ``unit`` is the currency, or "hosts" where no price of a host is known and all hosts count 1. ``stand_alone`` names
    the cheapest way to give one cluster a vote of its own and ``price`` what it costs; None where unknown.
    ``complete``: all flip prices were found in time.
    """

    designs: tuple[Design, ...]
    segments: tuple[Segment, ...]
    choices: tuple[Choice, ...]
    unit: str
    stand_alone: str
    price: float | None
    years: float
    complete: bool = True
    notes: tuple[Finding, ...] = ()
    sources: tuple[Source, ...] = ()
    version: str = ""

    segments_frame = TableOf("segments")
    choices_frame = TableOf("choices")
    notes_frame = TableOf("notes")

    @property
    def designs_frame(self) -> pd.DataFrame:
        """All designs as a DataFrame, one row for each, with costs over the years compared (NaN where unknown)."""
        frame = frame_of(Design, self.designs, ("costs",))
        for name in (*Costs.__slots__, "total"):
            costs = [float("nan") if d.costs is None else getattr(d.costs, name) for d in self.designs]
            frame[f"cost_{name}"] = costs
        return frame

    @property
    def glance(self) -> str:
        """Designs out of reach for some sites, then the hosts of each, in one line."""
        short = [design.name for design in self.designs if design.unserved]
        return told(
            "" if self.complete else "stopped before its end",
            f"out of reach for some sites: {', '.join(short)}" if short else "",
            *(f"{design.name}: {counted(design.hosts, 'host')}" for design in self.designs),
        )

    def plot_costs(self, ax: Any = None) -> Any:
        """Draw what each design costs over the years compared, by kind, and return the Axes; see `planner.plots`."""
        table = self.designs_frame.set_index("name")[[f"cost_{name}" for name in Costs.__slots__]].fillna(0)
        table = table.rename(columns=lambda name: name.removeprefix("cost_"))
        return titled(draw_stack(table, ax), f"Costs over {self.years:g} years", "", self.unit)
