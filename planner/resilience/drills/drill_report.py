"""The nouns of a drill. All are frozen, comparable and plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from planner.counted_words import counted
from planner.frame_of import TableOf, frame_of
from planner.plots import draw_bars, titled
from planner.shown import Shown, told

LossKind = Literal["host", "hub", "zone", "link", "wan_node"]
Outcome = Literal[
    "rehomed",  # its standby takes it over
    "no_standby",  # the plan names none
    "standby_lost",  # its standby, or the way there, is lost as well
    "not_eligible",  # a rule keeps the site from its standby
]


@dataclass(frozen=True, slots=True)
class Loss:
    """What is lost: a host, a hub with all of its hosts, a failure zone with all hubs in it, a WAN link or WAN node."""

    kind: LossKind
    name: str

    def __str__(self) -> str:
        return f"{self.kind.replace('_', ' ')} {self.name}"


@dataclass(frozen=True, slots=True)
class Displaced:
    """A site that loses its third vote. Its two nodes go on with two votes, until one of them fails.

    ``why`` is ``host`` (its host is lost), ``cut`` (no path to its host is left) or ``budget`` (the path that is
    left is longer than its latency budget). ``detail`` says more on the outcome.
    """

    site: str
    clusters: int
    host: str
    why: Literal["host", "cut", "budget"]
    standby: str | None
    outcome: Outcome
    detail: str = ""


@dataclass(frozen=True, slots=True)
class HostLoad:
    """A host that takes displaced clusters over: clusters ``before``, ``arriving``, and what it may carry.

    ``limit`` is the cap less the reserve, ``cap`` the cluster cap itself.
    """

    host: str
    hub: str
    before: int
    arriving: int
    limit: int
    cap: int

    @property
    def after(self) -> int:
        """Clusters once everybody has arrived."""
        return self.before + self.arriving

    @property
    def over(self) -> int:
        """Clusters beyond the cap."""
        return max(0, self.after - self.cap)


@dataclass(frozen=True, slots=True)
class LossFigures:
    """A loss in figures, in clusters unless it says sites or hosts.

    ``displaced`` lose their third vote at once: until they are re-homed each of them stops if one of its nodes fails.
    ``stranded`` of them stay so: without a standby to go to. ``over`` is by how much hosts exceed their cluster caps,
    ``overfilled`` which hosts; ``into_reserve`` names hosts within the cap that use up their reserve. ``in_zone``
    counts sites that lie in the lost zone themselves.
    """

    hosts: int
    sites: int
    displaced: int
    stranded: int
    over: int
    overfilled: tuple[str, ...] = ()
    into_reserve: tuple[str, ...] = ()
    in_zone: int = 0

    @property
    def unprotected_after(self) -> int:
        """Clusters without a third vote after re-homing: stranded ones, and those that no host has room for."""
        return self.stranded + self.over

    @property
    def survived(self) -> bool:
        """Whether every displaced cluster has a third vote again, and no host carries more than its cap."""
        return self.unprotected_after == 0


@dataclass(frozen=True, slots=True)
class SingleLoss:
    """One loss of the table of single losses; ``detail`` is for WAN links and WAN nodes."""

    loss: Loss
    figures: LossFigures
    detail: str = ""


@dataclass(frozen=True, slots=True)
class BlastRadius:
    """What the loss of a host, hub or zone hits, and at most may by the policy (None: no limit).

    ``weight_percent`` is of the weight of all sites that need a shared host, served or not.
    """

    loss: Loss
    sites: int
    clusters: int
    weight_percent: float
    most_clusters: float | None
    most_percent: float | None

    @property
    def over(self) -> bool:
        """Whether it is more than the policy allows; shares count to one part in a million, as plans are made."""
        clusters = self.most_clusters is not None and self.clusters > self.most_clusters
        return clusters or (self.most_percent is not None and self.weight_percent > self.most_percent * (1 + 1e-6))


@dataclass(frozen=True, slots=True)
class PairOfLosses:
    """Two losses at the same time."""

    first: Loss
    second: Loss
    figures: LossFigures


@dataclass(frozen=True, slots=True, repr=False)
class Drill(Shown):
    """A named loss, site by site. ``unserved`` sites had no third vote before it and are not counted in figures."""

    losses: tuple[Loss, ...]
    hosts_lost: tuple[str, ...]
    figures: LossFigures
    displaced: tuple[Displaced, ...]
    loads: tuple[HostLoad, ...]
    sites_in_zone: tuple[str, ...] = ()
    unserved: tuple[str, ...] = ()

    displaced_frame = TableOf("displaced")
    loads_frame = TableOf("loads", "after", "over")

    @property
    def glance(self) -> str:
        """Clusters that stay without a third vote, then what is lost, in one line."""
        left = self.figures.unprotected_after
        return told(
            f"{counted(left, 'cluster')} left without a third vote" if left else "no cluster left without a third vote",
            f"{' and '.join(map(str, self.losses))} lost",
            f"{counted(self.figures.displaced, 'cluster')} displaced",
        )


@dataclass(frozen=True, repr=False)
class DrillReport(Shown):
    """``drill`` for the losses that were asked for, else ``singles`` for every single loss and the worst ``pairs``.

    ``searched`` says how far the search for pairs and WAN losses went. ``claimed`` is the plan's ``cover``; ``broken``
    are the losses of that kind that displaced sites with a standby do not survive. ``radii`` are the largest of hosts,
    hubs and zones.
    """

    drill: Drill | None = None
    singles: tuple[SingleLoss, ...] = ()
    pairs: tuple[PairOfLosses, ...] = ()
    claimed: str = "none"
    broken: tuple[Loss, ...] = ()
    radii: tuple[BlastRadius, ...] = ()
    searched: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    radii_frame = TableOf("radii", "over")

    @property
    def singles_frame(self) -> pd.DataFrame:
        """Single losses as a DataFrame, one row for each, with its figures in clusters."""
        return _with_figures(SingleLoss, self.singles)

    @property
    def pairs_frame(self) -> pd.DataFrame:
        """The worst pairs of losses as a DataFrame, one row for each, with its figures in clusters."""
        return _with_figures(PairOfLosses, self.pairs)

    @property
    def glance(self) -> str:
        """What the plan does not survive, then what it does, in one line."""
        return self.words if self.drill is None else self.drill.glance

    def plot_losses(self, ax: Any = None) -> Any:
        """Draw the clusters that each single loss leaves without a third vote, and return the Axes."""
        rows = self.singles_frame
        drawn = draw_bars(rows["loss"], rows["unprotected_after"], 0 * rows["unprotected_after"], ax)
        return titled(drawn, "Single losses", "", "clusters left without a third vote")

    @property
    def words(self) -> str:
        """What single losses of hosts, hubs and zones the plan survives, and what not, in a sentence for each kind."""
        kept, failed = [], []
        for kind in ("host", "hub", "zone"):
            of_kind = [single for single in self.singles if single.loss.kind == kind]
            bad = [single for single in of_kind if not single.figures.survived]
            if of_kind and not bad:
                kept.append(f"any one {kind}")
            elif of_kind:
                failed.append(_failed(kind, bad, len(of_kind)))
        survives = [f"The plan survives the loss of {_listed(kept)}."] if kept else []
        return " ".join([*survives, *failed])


def _failed(kind: str, bad: Sequence[SingleLoss], number: int) -> str:
    """Return which losses of a kind leave clusters without a third vote, and the largest of them."""
    worst = max(bad, key=lambda single: single.figures.unprotected_after)
    largest = f"{worst.loss.name} ({counted(worst.figures.unprotected_after, 'cluster')})"
    if number == 1:
        return f"Losing the only {kind}, {largest}, leaves clusters without a third vote."
    which = f"any one of the {number:,} {kind}s"
    if len(bad) == 1:
        return f"Losing {kind} {largest} leaves clusters without a third vote; losing any other {kind} does not."
    if len(bad) < number:
        which = f"one of {len(bad):,} of the {number:,} {kind}s"
    return f"Losing {which} leaves clusters without a third vote; the largest loss is {largest}."


def _with_figures(kind: type[SingleLoss | PairOfLosses], rows: Sequence[SingleLoss | PairOfLosses]) -> pd.DataFrame:
    frame = frame_of(kind, rows, ("figures",))
    figures = frame_of(LossFigures, (row.figures for row in rows), more=("unprotected_after", "survived"))
    return pd.concat([frame, figures], axis="columns")


def _listed(words: list[str]) -> str:
    return " and ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)
