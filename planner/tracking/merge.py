"""Several copies of one workbook as one: what only one person changed goes in, what two changed is a clash."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from planner.outputs import headings
from planner.progress import Cell, Clash, Copy, Merged, Typed

_BLANK = Cell(None, "")
_LISTED = 200  # clashes outside the table
_CONFLICT_NOTE = "another copy says"

Key = tuple[str, str, int]


def merged(copies: Sequence[Copy]) -> Merged:
    """Return the rows of all copies, each cell as somebody changed it, and what clashes, cell by cell.

    What the plan put into a cell is known for status (``open``, or ``not needed`` where the site is kept), host (the
    planned host) and for the team's other columns (blank); in every other column the first copy counts as the plan.
    Of two different changes the first copy's is kept, of ``done`` and ``blocked`` the latter; the other goes to the
    row's remarks too, so that nothing is lost. Remarks are strung together. ``planned`` gives way without a clash.
    """
    found: dict[Key, list[tuple[str, Mapping[str, Cell]]]] = {}
    for copy in copies:
        for key, row in _keyed(copy.rows):
            found.setdefault(key, []).append((copy.file, row))
    first = copies[0].file if copies else ""
    clashes: list[Clash] = []
    rows = tuple(_row(key[0], versions, first, clashes) for key, versions in found.items())
    return Merged(rows, (*clashes, *_elsewhere(copies)))


def text_of(value: Typed) -> str:
    """Return a value as people read it; a date without its midnight."""
    if isinstance(value, dt.datetime) and value.time() == dt.time():
        return value.date().isoformat()
    return "" if value is None else str(value)


def _keyed(rows: Iterable[Mapping[str, Cell]]) -> Iterable[tuple[Key, Mapping[str, Cell]]]:
    """Yield rows with what tells them apart: the site and, of a site with several rows, planned host and turn."""
    seen: Counter[tuple[str, str]] = Counter()
    sites = Counter(str(row[headings.SITE].value) for row in rows)
    for row in rows:
        site = str(row[headings.SITE].value)
        planned = text_of(row.get(headings.PLANNED_HOST, _BLANK).value) if sites[site] > 1 else ""
        yield (site, planned, seen[site, planned]), row
        seen[site, planned] += 1


def _row(
    site: str, versions: Sequence[tuple[str, Mapping[str, Cell]]], first: str, clashes: list[Clash]
) -> Mapping[str, Cell]:
    file, base = versions[0]
    names = dict.fromkeys(name for _, row in versions for name in row)
    row: dict[str, Cell] = {}
    lost: list[str] = []
    for name in names:
        cells = [(file, version[name]) for file, version in versions if name in version]
        where = base[name].where if name in base and file == first else ""
        if name == headings.REMARKS:
            texts = dict.fromkeys(text_of(cell.value) for _, cell in cells if cell.value is not None)
            row[name] = Cell(" / ".join(texts) or None, where)
            continue
        kept, others = _kept(name, cells, _original(name, base))
        row[name] = Cell(kept.value, where)
        if others:
            said = (text_of(kept.value), *others)
            told = tuple((f, cell.where, text_of(cell.value)) for f, cell in cells if text_of(cell.value) in said)
            clashes.append(Clash(f"site {site}", name, told, text_of(kept.value)))
            lost += [f"[{name}: {_CONFLICT_NOTE} {text}]" for text in others]
    if lost:
        before = row.get(headings.REMARKS, _BLANK)
        note = " ".join(text for text in (text_of(before.value), *lost) if text)
        row[headings.REMARKS] = Cell(note, before.where)
    return row


def _original(name: str, base: Mapping[str, Cell]) -> str | None:
    """Return the text that the plan put into a column; None where only the first copy can tell."""
    if name == headings.PROGRESS:
        return "not needed" if text_of(base.get(headings.ACTION, _BLANK).value) == "keep" else "open"
    if name == headings.HOST:
        return text_of(base[headings.PLANNED_HOST].value) if headings.PLANNED_HOST in base else None
    return "" if name in (headings.DATE, headings.INITIALS) else None


def _kept(name: str, cells: Sequence[tuple[str, Cell]], original: str | None) -> tuple[Cell, list[str]]:
    """Return the cell that goes on, and the texts of other changes."""
    start = text_of(cells[0][1].value) if original is None else original
    changed: dict[str, Cell] = {}
    for _, cell in cells:
        text = text_of(cell.value)
        if text not in ("", start):
            changed.setdefault(text, cell)
    if name == headings.PROGRESS and len(changed) > 1:
        changed.pop("planned", None)
    if not changed:
        return cells[0][1], []
    # Of done and blocked the one that promises less: who takes a site for done would count on its new host.
    kept = "blocked" if name == headings.PROGRESS and "blocked" in changed else next(iter(changed))
    return changed[kept], [text for text in changed if text != kept]


def _elsewhere(copies: Sequence[Copy]) -> list[Clash]:
    """Return where other sheets differ from the first copy, which goes on as it is."""
    clashes = []
    first = copies[0] if copies else None
    for copy in copies[1:]:
        if first is None or not copy.others:
            continue
        for where in sorted({*first.others, *copy.others}):
            one, other = first.others.get(where, ""), copy.others.get(where, "")
            if one != other:
                told = ((first.file, where, one), (copy.file, where, other))
                clashes.append(Clash("another sheet", where, told, one))
    if len(clashes) > _LISTED:
        more = f"{len(clashes) - _LISTED:,} more cells differ; are these copies of one plan?"
        clashes = [*clashes[:_LISTED], Clash("another sheet", "", (), more)]
    return clashes
