"""The ids of copies that came back, held against fleet and plan: lost zeros, other letters, hosts that nobody knows."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping, Sequence

from planner.fleet import Fleet
from planner.intake.findings import Findings, Place
from planner.intake.ids import KnownIds, resolve
from planner.outputs import headings
from planner.plan import Plan
from planner.progress import Cell, Copy
from planner.running import running_hosts

_HOSTS = (headings.HOST, headings.PLANNED_HOST, headings.CURRENT_HOST, headings.FROM_HOST, headings.TO_HOST)
_UNKNOWN = "is neither in the plan nor running today, so no site is counted on it"


def resolved(copies: Sequence[Copy], fleet: Fleet, plan: Plan) -> tuple[Copy, ...]:
    """Return the copies with sites and hosts as fleet and plan write them, and notes on what was written otherwise.

    An id counts first, then what intake mends (lost zeros, look-alike letters, the number alone), then letter case and
    separators, where one id fits. What fits none, or several, stays as it is, with a note.
    """
    running = {host for _, host in running_hosts(fleet).pool}
    sites = _Names("site", "is no site of the fleet", KnownIds.of(fleet.site_ids))
    hosts = _Names("host", _UNKNOWN, KnownIds.of([*(host.host for host in plan.host_list), *sorted(running)]))
    return tuple(_resolved(copy, sites, hosts) for copy in copies)


def _resolved(copy: Copy, sites: _Names, hosts: _Names) -> Copy:
    notes: list[str] = []

    def row(cells: Mapping[str, Cell]) -> Mapping[str, Cell]:
        found = dict(cells)
        for name in (headings.SITE, *_HOSTS):
            cell = cells.get(name)
            if cell is not None and cell.value is not None:
                known = sites if name == headings.SITE else hosts
                found[name] = dataclasses.replace(cell, value=known.find(str(cell.value), cell, notes))
        return found

    rows, steps = tuple(map(row, copy.rows)), tuple(map(row, copy.steps))
    return dataclasses.replace(copy, rows=rows, steps=steps, notes=(*copy.notes, *dict.fromkeys(notes)))


class _Names:
    """The ids of one kind, and what is said of one that is none of them."""

    def __init__(self, noun: str, unknown: str, known: KnownIds) -> None:
        self._noun, self._unknown, self._known = noun, unknown, known
        self._folded: dict[str, list[str]] = {}
        for name in known.ids:
            self._folded.setdefault(_folded(name), []).append(name)

    def find(self, name: str, cell: Cell, notes: list[str]) -> str:
        """Return the id that ``name`` means, or ``name`` itself, and note what is not as it should be written."""
        if name in self._known.at:
            return name
        at = resolve(name, self._known, Place(), "", Findings(), "")
        fitting = [self._known.ids[at]] if at >= 0 else self._folded.get(_folded(name), [])
        if len(fitting) == 1:
            notes.append(f'{cell.source}: {self._noun} "{name}" is taken for "{fitting[0]}".')
            return fitting[0]
        several = f"may be {' or '.join(fitting)}" if fitting else self._unknown
        notes.append(f'{cell.source}: {self._noun} "{name}" {several}.')
        return name


def _folded(name: str) -> str:
    """Return an id without letter case, separators and leading zeros of its numbers."""
    parts = re.findall(r"\d+|[^\W\d_]+", name.casefold())
    return "".join(part.lstrip("0") or "0" if part.isdecimal() else part for part in parts)
