"""From the steps of a rollout to what became of each site."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from planner.outputs import headings
from planner.progress import Cell

CHANGES_OF_HOST = ("attach", "move", "detour")
_BLANK = Cell(None, "")
_TAKEN = (headings.SITE, headings.INITIALS, headings.DATE, headings.RTT_AFTER, headings.VOTES_SEEN)
Row = Mapping[str, Cell]


def by_site(steps: Sequence[Row]) -> Iterator[Row]:
    """Yield a row for each site that changes host: its last step, and where it stands after those that are done."""
    of_site: dict[str, list[Row]] = {}
    for step in steps:
        site, kind = (step.get(name, _BLANK).value for name in (headings.SITE, headings.KIND))
        if site and kind in CHANGES_OF_HOST:
            of_site.setdefault(str(site), []).append(step)
    for own in of_site.values():
        last = own[-1]
        row = {name: last[name] for name in _TAKEN if name in last}
        target = last.get(headings.TO_HOST, _BLANK)
        row[headings.HOST] = target
        if target.value is None:
            # It leaves for its own third vote: the plan workbook has no row that says where it was.
            row[headings.CURRENT_HOST] = own[0].get(headings.FROM_HOST, _BLANK)
        row[headings.PROGRESS] = _status(own)
        notes = [str(step[headings.REMARKS].value) for step in own if step.get(headings.REMARKS, _BLANK).value]
        where = last.get(headings.REMARKS, _BLANK)
        row[headings.REMARKS] = Cell(" / ".join(notes) or None, where.where, where.source)
        done = [step for step in own[:-1] if step.get(headings.PROGRESS, _BLANK).value == "done"]
        if done:
            row[headings.STANDS_ON] = done[-1][headings.TO_HOST]
        yield row


def _status(steps: Sequence[Row]) -> Cell:
    """Return the status of the last step, but blocked where any is."""
    cells = [step.get(headings.PROGRESS, _BLANK) for step in steps]
    return next((cell for cell in cells if cell.value == "blocked"), cells[-1])
