"""What became of each site: the merged workbook against its plan and the fleet; and the fleet as it is now."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from planner import columns
from planner.fleet import Fleet
from planner.outputs import headings
from planner.plan import Assignment, Plan
from planner.progress import Cell, Merged, Progress, SiteProgress
from planner.tracking.forecast import forecast
from planner.tracking.merge import text_of
from planner.verify import verify

# What a plan claims of itself; a plan that people changed need not agree with its claims.
_CLAIMS = frozenset({"claim", "load", "objective", "bound", "status", "current", "standby", "other_input"})


def track(fleet: Fleet, plan: Plan, merged: Merged, as_of: dt.date) -> Progress:
    """Return what is done, left, blocked and drifted of ``plan``, of which ``merged`` is the team's workbook.

    Drifted is a row whose host is not the planned one, or a site that ``fleet`` (sheet Current) has on a host that is
    neither where it was nor where the row says it is. ``problems`` are the violations of the plan with the hosts as
    people changed them.
    """
    in_force = dict(zip(fleet.current["site"], fleet.current["host"], strict=True))
    rows, notes = [], []
    for cells in merged.rows:
        row = _site(cells)
        if row.status not in headings.PROGRESS_WORDS:
            notes.append(f'{row.where}: status "{row.status}" is none of {", ".join(headings.PROGRESS_WORDS)}.')
        if row.date is None and text_of(cells.get(headings.DATE, Cell(None, "")).value):
            notes.append(f"{cells[headings.DATE].where}: the date of site {row.site} cannot be read.")
        if row.date is not None and row.date > as_of and row.status == "done":
            notes.append(f"{row.where}: site {row.site} is done on {row.date}, which is still to come.")
        rows.append(dataclasses.replace(row, drift=_drift(row, in_force.get(row.site, ""))))
    undated = sum(row.status == "done" and row.date is None for row in rows)
    if undated:
        notes.append(f"{undated} sites are done without a date: they are not in the burn-down.")
    changed = _changed(plan, rows)
    problems = tuple(str(v) for v in verify(fleet, changed) if v.severity == "violation" and v.code not in _CLAIMS)
    progress = Progress(as_of, tuple(rows), forecast({}, 0, as_of), merged.clashes, problems, tuple(notes))
    return dataclasses.replace(progress, forecast=forecast(progress.done_on, len(progress.left), as_of))


def carried_on(fleet: Fleet, plan: Plan, merged: Merged) -> Fleet:
    """Return ``fleet`` as it is now: sites whose row is done are on their host, the rest as in Current.

    A site that has made a detour is where that led. Hosts that carry somebody exist: ``existing_hosts`` of their pools
    rises to their number.
    """
    hubs = {host.host: host.hub for host in plan.host_list}
    pools = {host.host: host.pool for host in plan.host_list}
    now: dict[str, tuple[str, str, str]] = {}
    known = set(fleet.site_ids)
    for cells in merged.rows:
        row = _site(cells)
        host = row.host if row.status == "done" else row.stands_on
        if host in hubs and row.site in known:
            now[row.site] = (hubs[host], host, pools[host])
    names = list(columns.CURRENT.names)
    before = zip(*(fleet.current[name] for name in names), strict=True)
    table = [row for row in before if row[0] not in now]
    table += [(site, *where) for site, where in sorted(now.items())]
    current = pd.DataFrame(table, columns=names, dtype=object)
    standing = Counter(pools[host] for host in set(current["host"]) & set(pools))
    least = np.array([standing[pool] for pool in fleet.pool_ids], dtype=np.float64)
    existing = np.maximum(fleet.pools["existing_hosts"].fillna(0).to_numpy(dtype=np.float64), least)
    return fleet.replace(current=current, pools=fleet.pools.assign(existing_hosts=existing))


def _site(cells: Mapping[str, Cell]) -> SiteProgress:
    def text(name: str) -> str:
        return text_of(cells.get(name, Cell(None, "")).value)

    host = text(headings.HOST)
    action = text(headings.ACTION)
    return SiteProgress(
        site=text(headings.SITE),
        host=host,
        planned_host=text(headings.PLANNED_HOST) or host,
        status=text(headings.PROGRESS).casefold() or ("not needed" if action == "keep" else "open"),
        date=_date(cells.get(headings.DATE, Cell(None, ""))),
        initials=text(headings.INITIALS),
        remarks=text(headings.REMARKS),
        action=action,
        current_host=text(headings.CURRENT_HOST),
        stands_on=text(headings.STANDS_ON),
        where=cells[headings.SITE].where,
    )


def _date(cell: Cell) -> dt.date | None:
    if isinstance(cell.value, dt.datetime):
        return cell.value.date()
    if isinstance(cell.value, dt.date):
        return cell.value
    try:
        return dt.date.fromisoformat(text_of(cell.value))
    except ValueError:
        return None


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
