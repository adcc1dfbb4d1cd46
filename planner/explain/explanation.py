"""The nouns of an explanation. All are frozen, comparable and plain data."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import pandas as pd

from planner.counted_words import counted
from planner.frame_of import TableOf, frame_of
from planner.plan import Assignment, Evidence, MeasureFirst, Plan, Reason, Unserved
from planner.rules.mending import Change as Change
from planner.shown import Shown, told

Kind = Literal["latency_budget", "host_release", "max_hosts", "cluster_cap", "reserve", "remedy"]
Goal = Literal["save", "serve"]


@dataclass(frozen=True, slots=True)
class PoolView:
    """One pool as one site sees it: eligible, or every rule that keeps the site out.

    ``measured_at`` is the date of a measured time where it is known, ``range_ms`` the range of an estimate.
    ``rtt_ms`` and ``evidence`` are None where no finite round-trip time is known. ``hosts``, ``clusters`` and
    ``room`` are what the plan runs there, what it carries and what it may carry; ``serves`` says whether the plan
    serves the site from it.
    """

    pool: str
    hub: str
    eligible: bool
    rtt_ms: float | None
    evidence: Evidence | None
    measured_at: str | None
    range_ms: tuple[float, float] | None
    reasons: tuple[Reason, ...]
    hosts: int
    clusters: int
    room: int
    serves: bool


@dataclass(frozen=True, slots=True)
class SiteView:
    """One site against every pool, each pool once and in order of id, and what the plan does with the site.

    ``words`` says the latter. ``budget_ms`` is None where neither site nor policy gives one.
    """

    site: str
    clusters: int
    release: str
    budget_ms: float | None
    pools: tuple[PoolView, ...]
    assignments: tuple[Assignment, ...]
    unserved: Unserved | None
    words: str


@dataclass(frozen=True, slots=True)
class BindingSet:
    """Sites that reach only these pools and so force ``hosts`` there, in one sentence and as data."""

    sites: tuple[str, ...]
    pools: tuple[str, ...]
    demand: int
    hosts: int
    words: str


@dataclass(frozen=True, slots=True)
class PlanMeasures:
    """What counts of a plan: hosts that run, and the ids of sites left unserved.

    ``new_hosts`` are hosts to add; None where the policy's objective does not make them few, because plans of
    changed fleets, made without later aims, say nothing of them then.
    """

    hosts: int
    new_hosts: int | None
    unserved: tuple[str, ...]

    @classmethod
    def of(cls, plan: Plan) -> PlanMeasures:
        """Return the figures of ``plan``."""
        added = sum(not host.existing for host in plan.host_list)
        new = added if plan.objective == "new_hosts" else None
        return cls(plan.hosts, new, tuple(sorted(u.site for u in plan.unserved)))


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A change that helps, with the figures before it and those of the plan of the changed fleet.

    ``goal`` is what it is for: ``save`` a host, or ``serve`` the unserved ``site`` (blank
    otherwise). ``confirmed`` says that the changed fleet
    was planned and does what ``words`` say; ``after`` is None where it could not be planned. ``fewest`` says that no
    change of the same kind that touches fewer sites or pools (or is smaller, for a cap or a reserve) would do.
    ``touched`` and ``size`` (sum of relative changes) rank suggestions, the least first.
    """

    kind: Kind
    goal: Goal
    site: str
    words: str
    changes: tuple[Change, ...]
    sites: tuple[str, ...]
    pools: tuple[str, ...]
    touched: int
    size: float
    before: PlanMeasures
    after: PlanMeasures | None
    confirmed: bool
    fewest: bool


@dataclass(frozen=True, slots=True, repr=False)
class Explanation(Shown):
    """Why the plan is as it is: one site if asked for, else why not fewer hosts, who is unserved and what would help.

    ``plan`` is the one that is explained, ``proof`` its own claim in words, ``sets`` the sets of sites that force it.
    ``notes`` say what was not searched, and why.
    """

    figures: PlanMeasures
    plan: Plan = field(compare=False)  # its seconds differ from run to run
    site: SiteView | None = None
    proof: str = ""
    sets: tuple[BindingSet, ...] = ()
    unserved: tuple[Unserved, ...] = ()
    suggestions: tuple[Suggestion, ...] = ()
    measure_first: tuple[MeasureFirst, ...] = ()
    notes: tuple[str, ...] = ()

    sets_frame = TableOf("sets")
    unserved_frame = TableOf("unserved")
    suggestions_frame = TableOf("suggestions", leave_out=("changes", "before", "after"))
    measure_first_frame = TableOf("measure_first")

    @property
    def pools_frame(self) -> pd.DataFrame:
        """Every pool as the site that was asked for sees it, as a DataFrame; without rows where none was."""
        return frame_of(PoolView, () if self.site is None else self.site.pools)

    @property
    def glance(self) -> str:
        """What is unserved, then why not fewer hosts, in one line."""
        return told(
            f"{counted(len(self.unserved), 'site')} unserved" if self.unserved else "",
            counted(self.figures.hosts, "host"),
            self.proof.split(". ")[0].rstrip(".") if self.site is None else self.site.words,
            f"{counted(len(self.suggestions), 'change')} that would help" if self.suggestions else "",
        )
