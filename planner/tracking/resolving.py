"""The ids of copies that came back, held against fleet and plan: lost zeros, other letters, hosts that nobody knows."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Mapping, Sequence

from planner.counted_words import first_few
from planner.fleet import Fleet
from planner.intake.findings import Findings, Place
from planner.intake.ids import KnownIds, resolve
from planner.outputs import headings
from planner.plan import Plan
from planner.progress import Cell, Copy
from planner.running import running_hosts
from planner.tracking.unnamed import unnamed_hosts

_WERE = (headings.CURRENT_HOST, headings.FROM_HOST)  # written by the plan, which knows no more than the hub at times
_HOSTS = (headings.HOST, headings.PLANNED_HOST, headings.TO_HOST, *_WERE)
_SITE_UNKNOWN = "is no site of the fleet, so this row is not counted"
_HOST_UNKNOWN = (
    "is neither in the plan nor running today, so no site is counted on it. Correct the name, or add the host to the "
    "column host_names of Hubs"
)


def resolved(copies: Sequence[Copy], fleet: Fleet, plan: Plan) -> tuple[Copy, ...]:
    """Return the copies with sites and hosts as fleet and plan write them, and notes on what was written otherwise.

    An id counts first, then what intake mends (lost zeros, look-alike letters, the number alone), then letter case and
    separators, where one id fits; and a hub is taken for the only host there. What fits none, or several, stays as it
    is. Each name has one note, with the number of its cells.
    """
    at_hub: dict[str, set[str]] = {hub: set() for hub in fleet.hub_ids}
    for hub, host in running_hosts(fleet).pool:
        at_hub[hub].add(host)
    for host, (hub, _) in unnamed_hosts(fleet).items():
        at_hub[hub].add(host)
    for hub, names in zip(fleet.pools["hub"], fleet.pools["retiring_hosts"], strict=True):
        at_hub[hub].update(names)
    for planned in plan.host_list:
        at_hub.setdefault(planned.hub, set()).add(planned.host)
    known = KnownIds.of([*dict.fromkeys(h.host for h in plan.host_list), *sorted(set().union(*at_hub.values()))])
    sites, hosts = _Names("site", _SITE_UNKNOWN, KnownIds.of(fleet.site_ids)), _Names("host", _HOST_UNKNOWN, known)
    hosts.hubs = {hub: sorted(names) for hub, names in at_hub.items() if hub not in known.at}
    return tuple(_resolved(copy, sites, hosts) for copy in copies)


def _resolved(copy: Copy, sites: _Names, hosts: _Names) -> Copy:
    notes = _Notes()

    def row(cells: Mapping[str, Cell]) -> Mapping[str, Cell]:
        found = dict(cells)
        for name in (headings.SITE, *_HOSTS):
            cell = cells.get(name)
            if cell is not None and cell.value is not None:
                known = sites if name == headings.SITE else hosts
                found[name] = dataclasses.replace(cell, value=known.find(str(cell.value), name, cell, notes))
        return found

    rows, steps = tuple(map(row, copy.rows)), tuple(map(row, copy.steps))
    return dataclasses.replace(copy, rows=rows, steps=steps, notes=(*copy.notes, *notes.listed()))


class _Notes:
    """What is said of names, each once with the cells that have it."""

    def __init__(self) -> None:
        self._cells: dict[str, list[str]] = {}

    def add(self, words: str, cell: Cell) -> None:
        """Say so of a cell."""
        self._cells.setdefault(words, []).append(cell.source)

    def listed(self) -> Iterator[str]:
        """Yield the notes."""
        for words, cells in self._cells.items():
            file, _, _ = cells[0].rpartition(" ")
            places = [cell.removeprefix(f"{file} ") if k else cell for k, cell in enumerate(cells)]
            yield f"{first_few(places)}: {words}." if len(cells) > 1 else f"{cells[0]}: {words}."


class _Names:
    """The ids of one kind, and what is said of one that is none of them; ``hubs`` has the hosts at each hub."""

    def __init__(self, noun: str, unknown: str, known: KnownIds) -> None:
        self._noun, self._unknown, self._known = noun, unknown, known
        self.hubs: Mapping[str, Sequence[str]] = {}
        self._folded: dict[str, list[str]] = {}
        for name in known.ids:
            self._folded.setdefault(_folded(name), []).append(name)

    def find(self, name: str, column: str, cell: Cell, notes: _Notes) -> str:
        """Return the id that ``name`` means, or ``name`` itself, and note what is not as it should be written."""
        if name in self._known.at:
            return name
        hub = name if name in self.hubs else next((h for h in self.hubs if h.casefold() == name.casefold()), None)
        if hub is not None and column in _WERE:
            words = f'the column "{column}" names the hub and no host, as Current does'
            notes.add(f"{words}. Fill in the column host of Current", cell)
            return name
        at = resolve(name, self._known, Place(), "", Findings(), "") if hub is None else -1
        fitting = self.hubs[hub] if hub is not None else self._folded.get(_folded(name), [])
        fitting = [self._known.ids[at]] if at >= 0 else fitting
        if len(fitting) == 1:
            only = ", the only host there" if hub is not None else ""
            notes.add(f'{self._noun} "{name}" is taken for "{fitting[0]}"{only}', cell)
            return fitting[0]
        if hub is not None and fitting:
            words = f'host "{name}" is a hub, so no site is counted on it. Name its host: {" or ".join(fitting)}'
            notes.add(words, cell)
        else:
            several = f"may be {' or '.join(fitting)}" if fitting else self._unknown
            notes.add(f'{self._noun} "{name}" {several}', cell)
        return name


def _folded(name: str) -> str:
    """Return an id without letter case, separators and leading zeros of its numbers.

    >>> _folded("esk 1") == _folded("ESK-01"), _folded("H21") == _folded("H02-01")
    (True, False)
    """
    parts = re.findall(r"\d+|[^\W\d_]+", name.casefold())
    texts = [part.lstrip("0") or "0" if part.isdecimal() else part for part in parts]
    return re.sub(r"(?<=\d) (?=\d)", "-", " ".join(texts)).replace(" ", "")
