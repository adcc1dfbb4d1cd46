"""The nouns of a comparison: what differs between an old plan and a new one, each with its cause. Frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from planner.fleet import Source
from planner.frame_of import TableOf
from planner.shown import Shown

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
    "aims",
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
    "current": "where sites are today",
    "aims": "a later aim of the new plan",
    "equals": "choice between equally good plans",
    "search": "a better plan of the same fleet",
    "worse": "the new plan is not the best",
    "unknown": "not known",
    "other": "no effect on plans",
}
"""What may be behind a difference, in the words of every output."""

What = Literal[
    "opened", "closed", "other host", "left out", "served", "other reasons", "need", "margin", "standby", "host itself"
]


def amount(value: float | None) -> str:
    """Return a figure as text, "" where it is not known.

    >>> amount(1200.0), amount(9.818182), amount(None)
    ('1,200', '9.82', '')
    """
    if value is None:
        return ""
    return f"{value:,.0f}" if value == int(value) else f"{value:,.2f}"


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

    @property
    def label(self) -> str:
        """Its name with its unit."""
        return f"{self.name}, {self.unit}" if self.unit else self.name

    @property
    def old_text(self) -> str:
        """The old figure as text, "" where it is not known."""
        return amount(self.old)

    @property
    def new_text(self) -> str:
        """The new figure as text, "" where it is not known."""
        return amount(self.new)


@dataclass(frozen=True, slots=True)
class Between:
    """A plan in between: the old fleet with one more ``cause`` changed, its sites where the plan before had them.

    ``behind`` are the rows (sites, pools, settings) that changed and matter. ``moved`` are
    the sites that leave their hosts by this change in the plan with the fewest moves. ``proven``: hosts and moves.
    """

    cause: Cause
    behind: tuple[str, ...]
    hosts: int
    unserved: int
    objective_value: float
    uncovered: int
    moved: tuple[str, ...]
    proven: bool


class _Caused:
    """A difference that has a cause."""

    __slots__ = ()
    cause: Cause

    @property
    def cause_in_words(self) -> str:
        """The cause as outputs name it."""
        return CAUSES[self.cause]


@dataclass(frozen=True, slots=True)
class SiteDifference(_Caused):
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

    @property
    def from_to(self) -> str:
        """What it was, and what it is."""
        return f"{self.old or '-'} -> {self.new or '-'}"


@dataclass(frozen=True, slots=True)
class HostDifference(_Caused):
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

    @property
    def from_to(self) -> str:
        """Its clusters before and after."""
        old, new = ("-" if clusters is None else str(clusters) for clusters in (self.old_clusters, self.new_clusters))
        return f"{old} -> {new}"


@dataclass(frozen=True, slots=True)
class Side:
    """What one side of a comparison was: its name, whether its plan was made for the comparison, its files."""

    name: str
    what: Literal["plan", "plan and fleet", "fleet, planned here", "fleet as it stands"]
    headline: str
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True, repr=False)
class Difference(Shown):
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
    words: tuple[str, ...] = ()

    figures_frame = TableOf("figures")
    hosts_frame = TableOf("hosts")
    sites_frame = TableOf("sites")
    changes_frame = TableOf("changes")
    between_frame = TableOf("between")

    @property
    def glance(self) -> str:
        """The headline, which tells what is not known first."""
        return self.headline

    @property
    def unknown(self) -> int:
        """Differences whose cause is not known."""
        return sum(row.cause == "unknown" for row in self.sites) + sum(row.cause == "unknown" for row in self.hosts)

    @property
    def same(self) -> bool:
        """Whether the plans have the same hosts and serve every site alike."""
        return not self.hosts and not self.sites
