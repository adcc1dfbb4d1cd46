"""What one row of the team's workbook says."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from planner.outputs import headings
from planner.progress import Cell, SiteProgress
from planner.tracking.merge import text_of

_BLANK = Cell(None, "")


def text_in(cells: Mapping[str, Cell], name: str) -> str:
    """Return the text of a cell, blank where the row has no such column."""
    return text_of(cells.get(name, _BLANK).value)


def day_of(cells: Mapping[str, Cell]) -> dt.date | None:
    """Return the date of a row, None where there is none or what stands there is none."""
    value = cells.get(headings.DATE, _BLANK).value
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    try:
        return dt.date.fromisoformat(text_of(value))
    except ValueError:
        return None


def site_row(cells: Mapping[str, Cell]) -> SiteProgress:
    """Return what a row says of its site; a blank host is the planned one, none where the site votes by its own."""
    planned = text_in(cells, headings.PLANNED_HOST)
    host, action = text_in(cells, headings.HOST) or planned, text_in(cells, headings.ACTION)
    return SiteProgress(
        site=text_in(cells, headings.SITE),
        host=host,
        planned_host=planned or host,
        status=text_in(cells, headings.PROGRESS).casefold() or ("not needed" if action == "keep" else "open"),
        date=day_of(cells),
        initials=text_in(cells, headings.INITIALS),
        remarks=text_in(cells, headings.REMARKS),
        action=action,
        current_host=text_in(cells, headings.CURRENT_HOST),
        stands_on=text_in(cells, headings.STANDS_ON),
        where=cells[headings.SITE].where,
    )
