"""The nouns of a sweep: what a scenario changes, and the point that planning it gives."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import pandas as pd

from planner.counted_words import counted
from planner.fleet import Finding, Source
from planner.frame_of import TableOf, column, frame_of
from planner.plan import Status
from planner.plots import axes
from planner.shown import Shown, told

Origin = Literal["solved", "store", "bounds"]


@dataclass(frozen=True, slots=True)
class Edit:
    """One change of settings or of a column: ``value`` as text, absolute or relative (see `values`).

    ``sheet`` is Policy, Sites or Hubs; ``rows`` is ``*`` for every row, the id of one, or ``column=value``.
    """

    sheet: Literal["Policy", "Sites", "Hubs"]
    column: str
    value: str
    rows: str = "*"


@dataclass(frozen=True, slots=True)
class Growth:
    """Random growth: ``sites`` copies of sites drawn with ``seed``, and ``clusters`` more at sites drawn likewise."""

    sites: int = 0
    clusters: int = 0
    seed: int = 0


@dataclass(frozen=True, slots=True)
class Scenario:
    """One what-if. ``axes`` names what was varied, and with which value; ``closed_*`` are ids of sites and hubs.

    ``new_hubs`` are rows of the sheet Hubs as (column, text) pairs, with ``rtt_like`` for the hub whose
    round-trip times the new one shares.
    """

    name: str
    edits: tuple[Edit, ...] = ()
    growth: Growth | None = None
    closed_sites: tuple[str, ...] = ()
    closed_hubs: tuple[str, ...] = ()
    new_hubs: tuple[tuple[tuple[str, str], ...], ...] = ()
    axes: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Certainty:
    """How sure the budgets hold under uncertain round-trip times; shares from 0 to 1 with 95 % intervals.

    ``within``: expected share of served sites within budget. ``all_within``: chance that all of them are.
    """

    within: float
    within_low: float
    within_high: float
    all_within: float
    all_low: float
    all_high: float
    draws: int


@dataclass(frozen=True, slots=True)
class PointFigures:
    """What one plan comes to.

    ``value`` and ``bound`` are in the unit of the objective. ``weight_proven``: no plan serves more weight; ``proven``:
    nor covers more, nor has a better value. ``left_out_today`` counts sites that are unserved, and served today;
    ``kept_weight`` is the weight served of sites that the policy keeps served, 0 where it keeps none.
    ``cost`` is money a year, None where a price is missing. ``new_hosts``, ``hubs``, ``cost``, ``moves`` and
    ``mean_rtt_ms`` are None where nothing makes them small: later aims were not asked for, and the objective is
    another. Such a plan is one of many with as few hosts, and not the one that `planner.plan` makes. ``uncovered``
    counts served sites without the standby that the policy's cover asks for.
    """

    objective: str
    value: float
    bound: float
    hosts: int
    new_hosts: int | None
    hubs: int | None
    served: int
    unserved: tuple[str, ...]
    unserved_weight: float
    weight_proven: bool
    clusters: int
    cost: float | None
    proof: str
    words: str
    moves: int | None = None
    mean_rtt_ms: float | None = None
    uncovered: int = 0
    proven: bool = True
    left_out_today: int = 0
    kept_weight: float = 0.0
    certainty: Certainty | None = None

    @property
    def complete(self) -> bool:
        """Whether nobody is left out."""
        return not self.unserved

    @property
    def status(self) -> Status:
        """How good the plan is, as `Plan.status`."""
        return "optimal" if self.proven and self.value <= self.bound else "feasible"


@dataclass(frozen=True, slots=True)
class Point:
    """A scenario with its figures, or with the ``error`` that kept it from having any.

    ``origin`` says whether it was solved now, taken from the store, or follows from other points; ``rests_on`` names
    these. ``seconds`` is the time of planning.
    """

    scenario: Scenario
    figures: PointFigures | None = None
    error: str = ""
    origin: Origin = "solved"
    rests_on: tuple[str, ...] = ()
    seconds: float = 0.0
    front: bool = False

    @property
    def proven(self) -> bool:
        """Whether no plan does better on what comes first, nor on the objective."""
        return self.figures is not None and self.figures.status == "optimal"

    @property
    def gap(self) -> float:
        """Relative distance of the value from its bound; 0 when proven."""
        if self.figures is None or self.figures.value <= self.figures.bound:
            return 0.0
        return (self.figures.value - self.figures.bound) / self.figures.value


@dataclass(frozen=True, slots=True, repr=False)
class Sweep(Shown):
    """All points in the order of their scenarios. ``complete`` is False after an interruption."""

    points: tuple[Point, ...]
    notes: tuple[Finding, ...] = ()
    sources: tuple[Source, ...] = ()
    currency: str = ""
    options: dict[str, Any] = field(default_factory=dict)
    complete: bool = True
    version: str = ""

    notes_frame = TableOf("notes")

    @property
    def points_frame(self) -> pd.DataFrame:
        """All points as a DataFrame: the scenario, a column for each axis, and the figures, missing where it failed."""
        frame = frame_of(Point, self.points, ("scenario", "figures"), ("proven", "gap"))
        known = [row for row, point in enumerate(self.points) if point.figures is not None]
        figures = frame_of(PointFigures, [p.figures for p in self.points if p.figures is not None], ("certainty",))
        names = list(dict.fromkeys(name for point in self.points for name, _ in point.scenario.axes))
        varied = {name: [dict(point.scenario.axes).get(name) for point in self.points] for name in names}
        varied = {"scenario": [point.scenario.name for point in self.points], **varied}
        for at, (name, values) in enumerate(varied.items()):
            frame.insert(at, name, column(values, str), allow_duplicates=True)
        return frame.join(figures.drop(columns="proven").set_index(pd.Index(known)))

    @property
    def glance(self) -> str:
        """What failed or was left undone, then the hosts of all scenarios, in one line."""
        known = [point.figures for point in self.points if point.figures is not None]
        failed, proven = len(self.points) - len(known), sum(point.proven for point in self.points)
        hosts = sorted({figures.hosts for figures in known})
        span = f"{hosts[0]:,} to {hosts[-1]:,} hosts" if len(hosts) > 1 else counted(hosts[0], "host") if hosts else ""
        return told(
            "" if self.complete else "stopped before its end",
            f"{failed:,} failed" if failed else "",
            f"{counted(len(self.points), 'scenario')}, {proven:,} proven",
            span,
        )

    def plot_hosts(self) -> Any:
        """Draw hosts over what was varied, and return the matplotlib Axes; see `planner.scenarios.charts`."""
        from planner.scenarios.charts import draw_sweep

        figure = axes().figure
        figure.clear()
        draw_sweep(self, figure)
        return figure.axes[0]
