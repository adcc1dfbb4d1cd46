"""The nouns of a comparison: what differs between an old plan and a new one, each with its cause. Frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from planner.fleet import Source

Cause = Literal[
    "opened",
    "closed",
    "site",
    "release",
    "hub",
    "latency",
    "policy",
    "prices",
    "several",
    "current",
    "equals",
    "search",
    "worse",
    "unknown",
    "other",
]
CAUSES: Mapping[Cause, str] = {
    "opened": "site opened",
    "closed": "site closed",
    "site": "site changed",
    "release": "release",
    "hub": "hub changed",
    "latency": "RTT measured anew",
    "policy": "policy",
    "prices": "prices",
    "several": "several changes together",
    "current": "assignment in force",
    "equals": "choice among equals",
    "search": "a better plan",
    "worse": "new plan not the best",
    "unknown": "not known",
    "other": "no effect on plans",
}
"""What may be behind a difference, in the words of every output."""

What = Literal[
    "opened", "closed", "other host", "left out", "served", "other reasons", "need", "margin", "standby", "host itself"
]


@dataclass(frozen=True, slots=True)
class FleetChange:
    """One cell, setting or pair in which the fleets differ. ``id`` is the row: a site, a pool, a setting.

    A changed round-trip time has the sheet Latency and the id ``site -> hub``. ``old`` and ``new`` are texts, "" for
    a blank or a row that is not there. ``hub`` is the hub of a pair, "" elsewhere.
    """

    cause: Cause
    sheet: str
    id: str
    column: str
    old: str
    new: str
    hub: str = ""


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of both plans; None where it is not known. ``unit`` is "" for a plain count."""

    name: str
    old: float | None
    new: float | None
    unit: str = ""

    @property
    def difference(self) -> float | None:
        """New minus old."""
        return None if self.old is None or self.new is None else self.new - self.old


@dataclass(frozen=True, slots=True)
class Between:
    """A plan in between: the old fleet with one more ``cause`` changed, its sites where the plan before had them.

    ``behind`` are the rows (sites, pools, settings) that changed and matter; ``words`` names the change. ``moved`` are
    the sites that leave their hosts by this change in the plan with the fewest moves. ``proven``: hosts and moves.
    """

    cause: Cause
    words: str
    behind: tuple[str, ...]
    hosts: int
    unserved: int
    objective_value: float
    uncovered: int
    moved: tuple[str, ...]
    proven: bool


@dataclass(frozen=True, slots=True)
class SiteDifference:
    """One thing that differs at a site, ``old`` and ``new`` in words (hosts, margins), with its cause.

    ``planned``: the cause was found by planning in between, and not read off the fleets. ``behind`` are the rows whose
    change led to it.
    """

    site: str
    what: What
    old: str
    new: str
    cause: Cause
    why: str
    planned: bool = False
    behind: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HostDifference:
    """A host that runs in one of the plans only, or is another thing; clusters are None where it does not run."""

    host: str
    hub: str
    what: str
    old_clusters: int | None
    new_clusters: int | None
    cause: Cause
    why: str
    planned: bool = False
    behind: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Side:
    """What one side of a comparison was: its name, whether its plan was made for the comparison, its files."""

    name: str
    what: Literal["plan", "plan and fleet", "fleet, planned here", "fleet as it stands"]
    headline: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True)
class Difference:
    """All that differs between two plans, each with its cause and the sites behind it.

    ``changes`` are the differences of the fleets (or what the plans tell of them), ``between`` the plans made to find
    causes. ``fewest_moves`` is a plan of the new fleet with the fewest moves from the old plan.
    ``notes`` say what limits the answer.
    """

    headline: str
    old: Side
    new: Side
    figures: tuple[Figure, ...]
    hosts: tuple[HostDifference, ...] = ()
    sites: tuple[SiteDifference, ...] = ()
    changes: tuple[FleetChange, ...] = ()
    between: tuple[Between, ...] = ()
    fewest_moves: Between | None = None
    notes: tuple[str, ...] = ()
    version: str = ""
    words: tuple[str, ...] = field(default=())

    @property
    def unknown(self) -> int:
        """Differences whose cause is not known."""
        return sum(row.cause == "unknown" for row in self.sites) + sum(row.cause == "unknown" for row in self.hosts)

    @property
    def same(self) -> bool:
        """Whether the plans have the same hosts and serve every site alike."""
        return not self.hosts and not self.sites
