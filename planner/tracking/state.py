"""What became of each site: the merged workbook against its plan and the fleet."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections import defaultdict
from collections.abc import Sequence

from planner.counted_words import counted
from planner.fleet import Fleet
from planner.outputs import headings
from planner.plan import Assignment, Plan
from planner.progress import Copy, Forecast, Merged, Progress, SiteProgress
from planner.tracking.after_change import failed_after
from planner.tracking.forecast import forecast
from planner.tracking.open_days import open_days
from planner.tracking.planned import planned_on, slipped
from planner.tracking.rows import site_row, text_in
from planner.tracking.same_plan import of_other_plans
from planner.verify import verify

# What a plan claims of itself; a plan that people changed need not agree with its claims.
# One that starts from what is done has aims and hosts of that state, which the fleet before it does not know.
_CLAIMS = frozenset(
    {"claim", "load", "objective", "bound", "status", "current", "standby", "other_input", "aim", "existing_hosts"}
)


def track(fleet: Fleet, plan: Plan, merged: Merged, as_of: dt.date) -> Progress:
    """Return what is done, left, blocked and drifted of ``plan``, of which ``merged`` is the team's workbook.

    Drifted is a row whose host is not the planned one, or a site that ``fleet`` (sheet Current) has on a host that is
    neither where it was nor where the row says it is. ``problems`` are the violations of the plan with the hosts as
    people changed them, and what fails in `failed_after`.
    """
    in_force = dict(zip(fleet.current["site"], fleet.current["host"], strict=True))
    rows, notes = [], list(merged.notes)
    for cells in merged.rows:
        row = site_row(cells)
        notes += unknown_status(row)
        if row.date is None and text_in(cells, headings.DATE):
            notes.append(f"{cells[headings.DATE].where}: the date of site {row.site} cannot be read.")
        if row.date is not None and row.date > as_of and row.status == "done":
            notes.append(f"{row.where}: site {row.site} is done on {row.date}, which is still to come.")
        rows.append(dataclasses.replace(row, drift=_drift(row, in_force.get(row.site, ""))))
    undated = sum(row.status == "done" and row.date is None for row in rows)
    if undated:
        notes.append(f"Without a date, not in the burn-down: {counted(undated, 'site')} marked as done.")
    changed = _changed(plan, rows)
    problems = tuple(str(v) for v in verify(fleet, changed) if v.severity == "violation" and v.code not in _CLAIMS)
    failed, more = failed_after(plan, merged)
    problems, notes = (*failed, *problems), [*more, *notes]
    progress = Progress(as_of, tuple(rows), forecast({}, 0, as_of), merged.clashes, problems, tuple(notes))
    to_change = {row.site for row in (*progress.left, *progress.blocked)}
    over = {row.site for row in rows} - to_change
    late = slipped(merged.steps, over, as_of)
    progress = dataclasses.replace(progress, planned_on=planned_on(merged.steps), slipped=late)
    return dataclasses.replace(progress, forecast=_forecast(fleet, progress))


def unknown_status(row: SiteProgress) -> list[str]:
    """Return a question about a status that is no word for any, or nothing."""
    if row.status in headings.PROGRESS_WORDS:
        return []
    return [
        f'{row.where}: status "{row.status}" is none of {", ".join(headings.PROGRESS_WORDS)}, '
        f'and counts as open. Say what it means: --status "{row.status}=done".'
    ]


def doubts(copies: Sequence[Copy], merged: Merged) -> tuple[str, ...]:
    """Return what may be meant otherwise in copies that a plan or check starts from, the most that counts first.

    These are copies of other plans, cells that people filled differently, status words that nobody knows, and how many
    cells were read otherwise than they were written, or not at all.
    """
    clashes = len(merged.clashes)
    differing = f"Filled in differently in two copies: {counted(clashes, 'cell')}. castingvote progress lists them."
    unknown = [note for cells in merged.rows for note in unknown_status(site_row(cells))]
    more = [f"{len(unknown) - 1:,} more such statuses."] if len(unknown) > 1 else []
    noted = len(merged.notes)
    read = [f"{counted(noted, 'note')} on how the copies were read. castingvote progress lists them."] if noted else []
    return (*of_other_plans(copies), *([differing] if clashes else []), *unknown[:1], *more, *read)


def _forecast(fleet: Fleet, progress: Progress) -> Forecast:
    """Return when the rest may be done, within the windows and freezes to come where the fleet has any."""
    done_on, left, as_of = progress.done_on, [row.site for row in progress.left], progress.as_of
    every = [row.site for row in progress.rows if row.to_do]
    first = min([*done_on, as_of])
    limited = bool(fleet.policy.window or len(fleet.freezes) or (fleet.sites["window"] != "").any())
    calendar = open_days(fleet, left, every, first, as_of) if left and limited else None
    return forecast(done_on, len(left), as_of, calendar=calendar)


def _drift(row: SiteProgress, in_force: str) -> str:
    told = []
    if row.host != row.planned_host:
        told.append(f"on {row.host} instead of {row.planned_host}, changed by hand")
    expected = {row.current_host, row.host, row.planned_host, row.stands_on}
    if in_force and in_force not in expected:
        told.append(f"Current has it on {in_force}")
    return "; ".join(told)


def _changed(plan: Plan, rows: Sequence[SiteProgress]) -> Plan:
    """Return ``plan`` with the hosts that the rows name."""
    hosts = {host.host: host for host in plan.host_list}
    wanted: dict[str, list[SiteProgress]] = defaultdict(list)
    for row in rows:
        wanted[row.site].append(row)
    assignments: list[Assignment] = []
    for old in plan.assignments:
        match = next((row for row in wanted[old.site] if row.planned_host == old.host), None) or next(
            iter(wanted[old.site]), None
        )
        name = match.host if match is not None else old.host
        hub = hosts[name].hub if name in hosts else old.hub
        assignments.append(dataclasses.replace(old, host=name, hub=hub))
    return plan.replace(assignments=tuple(assignments))
