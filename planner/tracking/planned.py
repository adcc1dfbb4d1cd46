"""What the rollout planned: sites by day, and the waves that have slipped."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Collection, Mapping, Sequence

from planner.counted_words import counted
from planner.outputs import headings
from planner.progress import Cell
from planner.tracking.by_site import CHANGES_OF_HOST
from planner.tracking.rows import text_in

Row = Mapping[str, Cell]


def planned_on(steps: Sequence[Row]) -> dict[dt.date, int]:
    """Return how many sites have their last change of host planned on each day, local time of the site.

    A site whose release alone changes counts neither here nor in what is done and left.
    """
    last: dict[str, dt.date] = {}
    for step in steps:
        site, day = text_in(step, headings.SITE), _day(step)
        if site and day is not None and text_in(step, headings.KIND) in CHANGES_OF_HOST:
            last[site] = max(day, last.get(site, day))
    return dict(sorted(Counter(last.values()).items()))


def slipped(steps: Sequence[Row], over: Collection[str], as_of: dt.date) -> tuple[str, ...]:
    """Return the waves that were to be over before ``as_of`` and have steps that are not done, in words.

    ``over`` are the sites that need no further change of host, wherever that is written.
    """
    waves: dict[str, list[Row]] = {}
    for step in steps:
        waves.setdefault(text_in(step, headings.WAVE), []).append(step)
    found = []
    for wave, mine in waves.items():
        days = [day for step in mine if (day := _day(step)) is not None]
        left = [step for step in mine if not _is_over(step, over)]
        if wave and days and left and max(days) < as_of:
            late = (as_of - max(days)).days
            found.append(
                f"wave {wave} of {min(days)}: {counted(len(left), 'step')} of {len(mine)} not done, "
                f"{counted(late, 'day')} late"
            )
    return tuple(found)


def _is_over(step: Row, over: Collection[str]) -> bool:
    """Say whether nothing of a step is left, by its own row or because its site has changed host."""
    changed = text_in(step, headings.SITE) in over and text_in(step, headings.KIND) in CHANGES_OF_HOST
    return changed or text_in(step, headings.PROGRESS) in ("done", "not needed")


def _day(step: Row) -> dt.date | None:
    """Return the day on which a step is to start."""
    value = step.get(headings.STARTS, Cell(None, "")).value
    if isinstance(value, dt.datetime):
        return value.date()
    try:
        return dt.datetime.fromisoformat(str(value)).date()
    except ValueError:
        return None
