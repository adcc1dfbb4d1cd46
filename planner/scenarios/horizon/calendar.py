"""Periods of the calendar, and the fleet in each of them."""

from __future__ import annotations

import dataclasses
import datetime as dt
from calendar import monthrange
from itertools import pairwise
from typing import Literal

import numpy as np
import pandas as pd

from planner.fleet import Fleet
from planner.scenarios.edits import changed_fleet
from planner.scenarios.horizon.horizon_steps import Period
from planner.scenarios.sweep_results import Edit, Scenario

_MONTHS = {"year": 12, "quarter": 3, "month": 1}


def periods_from(first: dt.date, unit: Literal["year", "quarter", "month"], count: int) -> tuple[Period, ...]:
    """Return ``count`` periods that follow each other from the day ``first`` on.

    >>> [p.last.isoformat() for p in periods_from(dt.date(2027, 1, 31), "month", 2)]
    ['2027-02-27', '2027-03-30']
    """
    starts = [_later(first, _MONTHS[unit] * number) for number in range(count + 1)]
    return tuple(Period(_name(start, unit), start, after - dt.timedelta(days=1)) for start, after in pairwise(starts))


def _later(day: dt.date, months: int) -> dt.date:
    """Return the day some months later; the last of the month where it has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return dt.date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _name(start: dt.date, unit: str) -> str:
    if start.day != 1 or (unit == "quarter" and start.month % 3 != 1) or (unit == "year" and start.month != 1):
        return f"from {start.isoformat()}"
    names = {"year": f"{start.year}", "quarter": f"{start.year} Q{(start.month + 2) // 3}"}
    return names.get(unit, f"{start.year}-{start.month:02d}")


def fleet_in(fleet: Fleet, first: dt.date, last: dt.date) -> Fleet:
    """Return the fleet that has to be served between two days.

    Sites are there that are open on any of the days, for all of them; hubs that are open on all of them. Changes up to
    the last day count from the first one on: they come a part of a period early rather than late. Own tie-breakers that
    are possible are not used.
    """
    changes = fleet.changes
    due = changes[changes["date"] <= pd.Timestamp(last)].sort_values("date", kind="stable")
    edits = [_edit(row) for row in due.itertuples(index=False)]
    changed = changed_fleet(fleet, Scenario(f"until {last.isoformat()}", tuple(edits))) if edits else fleet
    sites, pools = changed.sites, changed.pools.copy()
    open_sites = ~(sites["opens"] > pd.Timestamp(last)) & ~(sites["closes"] < pd.Timestamp(first))
    own = sites["own_tie_breaker"].where(sites["own_tie_breaker"] != "possible", "no")
    shut = (pools["opens"] > pd.Timestamp(first)) | (pools["closes"] < pd.Timestamp(last))
    pools["max_hosts"] = np.where(shut, 0, changed.max_hosts).astype(np.float64)
    return changed.replace(
        sites=sites.assign(own_tie_breaker=own)[open_sites].reset_index(drop=True),
        pools=pools,
        policy=dataclasses.replace(changed.policy, objective="hosts", then="moves latency"),
    )


def _edit(row: object) -> Edit:
    site, pool = str(getattr(row, "site")), str(getattr(row, "pool"))  # noqa: B009 (columns of a table)
    column, value = str(getattr(row, "column")), str(getattr(row, "value"))  # noqa: B009
    if site:
        return Edit("Sites", column, value, site)
    return Edit("Hubs", column, value, pool) if pool else Edit("Policy", column, value)


def event_days(fleet: Fleet, first: dt.date, last: dt.date) -> list[dt.date]:
    """Return the days after ``first`` up to ``last`` on which something opens, closes or changes."""
    days = pd.concat(
        (
            fleet.sites["opens"],
            fleet.pools["opens"],
            fleet.pools["closes"] + pd.Timedelta(days=1),
            fleet.changes["date"],
        )
    ).dropna()
    inside = {day.date() for day in days}
    return sorted(day for day in inside if first < day <= last)
