"""The nouns of availability. All are frozen, comparable and plain data; times are minutes in a year of 365 days."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from planner.counted_words import counted
from planner.frame_of import TableOf
from planner.shown import Shown, told

MINUTES_A_YEAR = 365 * 24 * 60
Part = Literal["node", "site_uplink", "hub_uplink", "hub", "host"]


@dataclass(frozen=True, slots=True)
class SiteUptime:
    """One site: ``minutes`` that each of its clusters is expected to be down, ``any_minutes`` at least one of them.

    ``vote_minutes`` is how long the third vote is out of reach, which by itself stops nothing. ``covered_minutes`` is
    ``minutes`` with re-homing to the standby; None where the site has none, or where figures for it are missing.
    """

    site: str
    clusters: int
    hosts: tuple[str, ...]
    availability: float
    minutes: float
    any_minutes: float
    vote_minutes: float
    covered_minutes: float | None = None


@dataclass(frozen=True, slots=True)
class PartShare:
    """How much of the fleet's down time would go if a part never failed: cluster-minutes, and share of the whole.

    ``name`` is the host or hub; blank for all parts of the kind together. For ``node`` it is one of the two.
    """

    part: Part
    name: str
    cluster_minutes: float
    share: float


@dataclass(frozen=True, slots=True)
class Together:
    """Minutes in which at least ``clusters`` clusters are down, or without a third vote, at the same time."""

    clusters: int
    down_minutes: float
    without_vote_minutes: float


@dataclass(frozen=True, slots=True)
class Missing:
    """Figures that are not there: fill in ``columns`` of ``sheet`` in ``rows`` rows, or ``settings`` in the policy."""

    part: Part
    sheet: str
    rows: int
    columns: tuple[str, ...]

    @property
    def words(self) -> str:
        """What to fill in, in a sentence."""
        percent, mtbf, mttr = self.columns
        where = f"{counted(self.rows, 'row')} of {self.sheet}"
        return (
            f"How often the {self.part.replace('_', ' ')} is up is not known for {where}: fill in {percent}, "
            f"or {mtbf} and {mttr}, there or in Policy. 100 percent leaves the part out."
        )


@dataclass(frozen=True, repr=False)
class Availability(Shown):
    """Expected down time of the clusters of a plan.

    ``sites`` holds those with all figures, ``missing`` what the others lack. ``cluster_minutes`` is the sum over
    clusters; ``covered_cluster_minutes`` the same with re-homing within ``rehoming_minutes``, None where that cannot be
    said (the reason is among ``notes``). ``together`` is empty where too many sites are split over hosts.
    """

    sites: tuple[SiteUptime, ...] = ()
    clusters: int = 0
    cluster_minutes: float = 0.0
    covered_cluster_minutes: float | None = None
    rehoming_minutes: float | None = None
    parts: tuple[PartShare, ...] = ()
    together: tuple[Together, ...] = ()
    missing: tuple[Missing, ...] = ()
    left_out: int = 0
    assumptions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    sites_frame = TableOf("sites")
    parts_frame = TableOf("parts")
    together_frame = TableOf("together")
    missing_frame = TableOf("missing", "words")

    @property
    def glance(self) -> str:
        """What is not known, then the minutes a year that a cluster is down on average, in one line."""
        mean = self.cluster_minutes / self.clusters if self.clusters else None
        return told(
            f"figures missing: {counted(len(self.missing), 'kind')} of parts" if self.missing else "",
            f"{counted(self.left_out, 'site')} left out" if self.left_out else "",
            "nothing computed" if mean is None else f"{mean:,.1f} minutes a year down, a cluster on average",
        )

    @property
    def mean_availability(self) -> float | None:
        """Share of the year that a cluster is up, on average over clusters; None where nothing was computed."""
        if not self.clusters:
            return None
        return 1.0 - self.cluster_minutes / (self.clusters * MINUTES_A_YEAR)
