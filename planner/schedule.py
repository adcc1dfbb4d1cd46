"""The nouns of a rollout: Step, Wave, Conflict, Rollout. Frozen, comparable, and plain data throughout.

A rollout leads from the state today (sheet Current) to a Plan in **waves**. A wave is one night, from noon to noon in
each site's own time zone, on which a team works; it holds **steps** in order of their start. All moments are aware
datetimes in the zone of the site or hub of the step.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
import pandas as pd

from planner.counted_words import counted
from planner.frame_of import TableOf, frame_of
from planner.plots import draw_stack, titled
from planner.shown import Shown, told

StepKind = Literal["attach", "move", "detour", "host_install", "host_release", "host_retire", "site_release"]
MaterialKind = Literal["host", "own_tie_breaker", "spare_host"]
OrderState = Literal["", "in time", "before the first day", "passed"]
STEP_KINDS: tuple[StepKind, ...] = get_args(StepKind)


@dataclass(frozen=True, slots=True)
class Step:
    """One change at one site or one host. Which fields say something depends on ``kind``; the others are None.

    - ``attach``: ``site`` gets its first shared tie-breaker, on ``to_host``.
    - ``move``: ``site`` goes from ``from_host`` to ``to_host``, where it stays; ``to_host`` is None where the site
      needs no shared host any more (its enclosure carries the third vote, or it has no clusters).
    - ``detour``: ``site`` goes from ``from_host`` to ``to_host`` for a while only; a later ``move`` brings it on.
    - ``site_release``: the clusters of ``site`` are raised to ``release``.
    - ``host_install``: ``host`` is installed, with ``release`` ("" where unknown).
    - ``host_release``: the release of ``host`` changes to ``release``.
    - ``host_retire``: ``host`` is switched off; it carries nobody.

    ``id`` is unique in the rollout. ``needs`` are ids of steps that end before this one starts: earlier in the same
    wave or in an earlier one. ``hub`` is the hub of ``to_host`` or ``host``. ``clusters`` are those of the site that
    change host. ``crew`` is the crew that changes the site ("" for the crews without a name). ``cautions`` are
    sentences that stand beside this step. A site holds its place on both hosts from ``starts`` to ``ends``: the old
    tie-breaker stays until the new one has proved itself.
    """

    id: str
    kind: StepKind
    starts: dt.datetime
    ends: dt.datetime
    site: str | None = None
    from_host: str | None = None
    to_host: str | None = None
    host: str | None = None
    release: str | None = None
    needs: tuple[str, ...] = ()
    hub: str = ""
    clusters: int = 0
    crew: str = ""
    cautions: tuple[str, ...] = ()

    @property
    def hosts(self) -> tuple[str, ...]:
        """The hosts that the step names."""
        return tuple(dict.fromkeys(name for name in (self.from_host, self.to_host, self.host) if name))


@dataclass(frozen=True, slots=True)
class Wave:
    """Steps of one night, in order of their start.

    ``wave`` counts from 1. ``starts`` is the start of its first step and ``ends`` the latest end of any. ``pilot``
    marks the first wave in which sites change, where the policy asks for a pilot. ``timezone`` is the IANA name of the
    zone of most steps.
    """

    wave: int
    starts: dt.datetime
    ends: dt.datetime
    steps: tuple[Step, ...]
    pilot: bool = False
    timezone: str = "UTC"

    @property
    def sites(self) -> tuple[str, ...]:
        """Ids of the sites that change in the wave, each once, in order."""
        return tuple(dict.fromkeys(step.site for step in self.steps if step.site is not None))

    @property
    def hosts(self) -> tuple[str, ...]:
        """Names of the hosts that steps of the wave name, each once, in order."""
        return tuple(dict.fromkeys(host for step in self.steps for host in step.hosts))


@dataclass(frozen=True, slots=True)
class Conflict:
    """Something of the plan that no order of steps can bring about, or not yet. Its steps are left out of the waves.

    ``code`` is a short name, ``where`` names the sites or hosts (``"site 0042"``, ``"hosts ESK-01, ROV-01"``),
    ``message`` has the figures, ``hint`` says what would mend it.
    """

    code: str
    where: str
    message: str
    hint: str = ""

    def __str__(self) -> str:
        return f"{self.where}: {self.message}{f' {self.hint}' if self.hint else ''}"


@dataclass(frozen=True, slots=True)
class Material:
    """Equipment to buy: ``number`` hosts of a pool for one wave, own tie-breakers of a site, or spare hosts.

    ``place`` is the hub or site, "" for spare hosts, which every hub shares; ``names`` are the hosts. ``owner`` pays.
    ``wave`` and ``needed_on`` say when it is installed, None where no wave does so; ``order_by`` is the last day for
    the order, None where the lead time is not known. ``order_state`` holds that day against the first day of the
    rollout and the day on which it was planned; "" where there is none. ``buy`` is the price of all of them and
    ``yearly`` what running them costs a year; None where not known.
    """

    item: MaterialKind
    number: int
    place: str = ""
    pool: str = ""
    names: tuple[str, ...] = ()
    owner: str = ""
    wave: int | None = None
    needed_on: dt.date | None = None
    order_by: dt.date | None = None
    buy: float | None = None
    yearly: float | None = None
    order_state: OrderState = ""


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """What one owner pays in one ``year``, which is None for equipment that no wave installs.

    ``hosts`` hold spare hosts. ``visits`` are to hubs and sites where something is installed or switched off.
    ``buying`` and ``visiting`` are paid once, ``running`` is for one year; None where a price is not known.
    """

    year: int | None
    owner: str
    hosts: int
    own_tie_breakers: int
    visits: int
    buying: float | None
    visiting: float | None
    running: float | None


@dataclass(frozen=True, repr=False)
class Rollout(Shown):
    """Waves that lead from today to a plan, with the bound that says how good they are.

    ``lower_bound_waves``: no schedule of the same steps has fewer waves; ``why`` says in words what forces them.
    ``detours`` counts steps of kind ``detour`` and ``lower_bound_detours`` is a bound on them. ``conflicts`` are what
    is left out, and ``cautions`` are sentences for the whole rollout. ``fleet_id``, ``plan_number`` and ``plan_hash``
    say which plan it leads to, see `planner.identity`. ``materials`` are what it has to buy, and ``budget`` what is
    paid by year and owner.
    """

    waves: tuple[Wave, ...]
    lower_bound_waves: int
    why: str
    lower_bound_detours: int = 0
    conflicts: tuple[Conflict, ...] = ()
    cautions: tuple[str, ...] = ()
    fleet_id: str = ""
    plan_number: int = 1
    plan_hash: str = ""
    materials: tuple[Material, ...] = ()
    budget: tuple[BudgetLine, ...] = ()

    waves_frame = TableOf("waves", "sites", leave_out=("steps",))
    conflicts_frame = TableOf("conflicts")
    materials_frame = TableOf("materials")
    budget_frame = TableOf("budget")

    @property
    def steps_frame(self) -> pd.DataFrame:
        """All steps as a DataFrame, one row for each, with the number of its wave; moments in UTC."""
        frame = frame_of(Step, self.steps)
        frame.insert(0, "wave", np.repeat([w.wave for w in self.waves], [len(w.steps) for w in self.waves]).astype(int))
        return frame

    @property
    def glance(self) -> str:
        """What is left out, then waves with their bound and steps, in one line."""
        fewest = "no schedule has fewer" if self.gap <= 0 else f"not proven, at least {self.lower_bound_waves:,}"
        return told(
            f"{counted(len(self.conflicts), 'conflict')} left out" if self.conflicts else "",
            f"{counted(len(self.waves), 'wave')} with {counted(len(list(self.steps)), 'step')}",
            fewest,
        )

    @property
    def steps(self) -> Iterator[Step]:
        """All steps, wave by wave."""
        return (step for wave in self.waves for step in wave.steps)

    @property
    def detours(self) -> int:
        """Temporary stays on a host that is not the site's target."""
        return sum(step.kind == "detour" for step in self.steps)

    @property
    def gap(self) -> int:
        """Waves above the bound; 0 when the number of waves is proven least."""
        return len(self.waves) - self.lower_bound_waves

    def plot_waves(self, ax: Any = None) -> Any:
        """Draw how many steps of each kind every wave has, and return the Axes; see `planner.plots`."""
        steps = self.steps_frame
        table = pd.crosstab(steps["wave"], steps["kind"])
        return titled(draw_stack(table, ax), "Steps of each wave", "wave", "steps")

    def replace(self, **changes: Any) -> Rollout:
        """Return a copy with ``changes`` made to the fields."""
        return dataclasses.replace(self, **changes)
