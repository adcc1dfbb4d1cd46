"""The nouns of a rollout under way: what a team's workbook holds, what became of each site, and when it may end."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

from planner.counted_words import counted
from planner.frame_of import TableOf
from planner.plan_parts import Identity
from planner.shown import Shown, told

Typed = str | int | float | bool | dt.datetime | dt.date | dt.time | None


@dataclass(frozen=True, slots=True)
class Cell:
    """What stands in a cell, and where: such as ``Assignments!F17``; ``source`` is the workbook and cell it is from."""

    value: Typed
    where: str
    source: str = ""


@dataclass(frozen=True)
class Copy:
    """A workbook as it came back: the rows of its sheets Assignments and Steps by heading, and cells of other sheets.

    ``others`` maps an address to the value as text. ``notes`` say in words what was read otherwise than it was written.
    ``comments`` are (sheet, cell, text) of an .ods file; of an Excel workbook they are taken when copies are merged.
    """

    file: str
    rows: tuple[Mapping[str, Cell], ...]
    others: Mapping[str, str] = field(default_factory=dict)
    steps: tuple[Mapping[str, Cell], ...] = ()
    notes: tuple[str, ...] = ()
    comments: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Clash:
    """A cell that copies fill differently: ``values`` of (file, address, text); ``kept`` is the text that goes on."""

    what: str
    column: str
    values: tuple[tuple[str, str, str], ...]
    kept: str

    def __str__(self) -> str:
        told = "; ".join(f'{file} {where} has "{text}"' for file, where, text in self.values)
        return f'{self.what}, {self.column}: {told}; "{self.kept}" is kept.'


@dataclass(frozen=True)
class Merged:
    """All copies as one: rows of sites and of steps by heading.

    Each cell of ``rows`` has its address in the first copy, and each of ``steps`` that in the first copy with a sheet
    Steps; ("" where it has none). ``plan`` is the plan of the copies as it was made, where a sheet Summary tells.
    """

    rows: tuple[Mapping[str, Cell], ...]
    clashes: tuple[Clash, ...] = ()
    steps: tuple[Mapping[str, Cell], ...] = ()
    notes: tuple[str, ...] = ()
    plan: Identity | None = None


@dataclass(frozen=True, slots=True)
class StateChange:
    """What a rollout has changed in a fleet: ``column`` of the site or host ``what`` from ``before`` to ``after``.

    ``source`` is the workbook and cell that says so, ``on`` the day that stands there.
    """

    what: str
    column: str
    before: str
    after: str
    source: str
    on: dt.date | None = None


@dataclass(frozen=True, slots=True)
class SiteProgress:
    """One row of the team's workbook: where the site is to be, and what became of it.

    ``host`` is what the workbook says now and ``planned_host`` what the plan said. ``stands_on`` names the host that
    serves the site for a while, after a detour. ``drift`` says in words where row, plan and fleet disagree.
    """

    site: str
    host: str
    planned_host: str
    status: str
    date: dt.date | None = None
    initials: str = ""
    remarks: str = ""
    action: str = ""
    current_host: str = ""
    stands_on: str = ""
    where: str = ""
    drift: str = ""

    @property
    def to_do(self) -> bool:
        """Whether the rollout changes the site."""
        return self.status != "not needed"


def _state_of(parts: Mapping[str, list[SiteProgress]]) -> tuple[str, SiteProgress]:
    """Return how far a site is whose rows are given by host, and the row that says so.

    A row that comes twice is done once either is.
    """
    open_ones = [rows for rows in parts.values() if all(row.status != "done" for row in rows)]
    rows = [row for part in open_ones for row in part]
    blocked = [row for row in rows if row.status == "blocked"]
    if rows:
        return ("blocked", blocked[0]) if blocked else ("left", rows[0])
    done = [row for part in parts.values() for row in part if row.status == "done"]
    return "done", max(done, key=lambda row: row.date or dt.date.min)


@dataclass(frozen=True, slots=True)
class Forecast:
    """Days by which the rest may be done, of which early, likely and late are the 10th, 50th and 90th percentile.

    None where the record is too short; ``words`` says how it was computed, or why not.
    """

    early: dt.date | None
    likely: dt.date | None
    late: dt.date | None
    words: str


@dataclass(frozen=True, repr=False)
class Progress(Shown):
    """A rollout on the day ``as_of``. ``done_on`` counts sites by day; ``problems`` are violations, in words.

    ``planned_on`` counts sites by the day on which the rollout's last step at each is planned; empty where no rollout
    workbook is there. ``slipped`` are waves whose day is past and that are not all done, in words.
    """

    as_of: dt.date
    rows: tuple[SiteProgress, ...]
    forecast: Forecast
    clashes: tuple[Clash, ...] = ()
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    planned_on: Mapping[dt.date, int] = field(default_factory=dict)
    slipped: tuple[str, ...] = ()

    sites_frame = TableOf("rows")

    @property
    def glance(self) -> str:
        """What needs a person, then what is done and left, in one line."""
        return told(
            f"{len(self.blocked):,} blocked" if self.blocked else "",
            f"{len(self.drifted):,} not as planned" if self.drifted else "",
            f"{counted(len(self.done), 'site')} done, {len(self.left):,} left on {self.as_of.isoformat()}",
        )

    @property
    def done(self) -> tuple[SiteProgress, ...]:
        """A row of each site that is done; of one that is split over hosts the last, once all of it is done."""
        return self._in_state("done")

    @property
    def blocked(self) -> tuple[SiteProgress, ...]:
        """A row of each site that is blocked."""
        return self._in_state("blocked")

    @property
    def left(self) -> tuple[SiteProgress, ...]:
        """A row of each site that is neither done nor blocked, and is to be done."""
        return self._in_state("left")

    def _in_state(self, wanted: str) -> tuple[SiteProgress, ...]:
        of_site: dict[str, dict[str, list[SiteProgress]]] = {}
        for row in self.rows:
            if row.to_do:
                of_site.setdefault(row.site, {}).setdefault(row.host, []).append(row)
        return tuple(row for parts in of_site.values() for state, row in [_state_of(parts)] if state == wanted)

    @property
    def drifted(self) -> tuple[SiteProgress, ...]:
        """Rows that disagree with the plan or the fleet."""
        return tuple(row for row in self.rows if row.drift)

    @property
    def done_on(self) -> dict[dt.date, int]:
        """Sites done on each day; a row that is done without a date is in none."""
        counts: dict[dt.date, int] = {}
        for row in self.done:
            if row.date is not None:
                counts[row.date] = counts.get(row.date, 0) + 1
        return dict(sorted(counts.items()))
