"""Several copies of one workbook as one: what only one person changed goes in, what two changed is a clash."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence

from planner.intake.known_words import truth_of
from planner.outputs import headings
from planner.progress import Cell, Clash, Copy, Merged, Typed
from planner.tracking.by_site import by_site
from planner.tracking.same_plan import stated_plan

_BLANK_AT_FIRST = (headings.DATE, headings.INITIALS, headings.RTT_AFTER, headings.VOTES_SEEN, headings.TICKET)
_BLANK = Cell(None, "")
_CONFLICT_NOTE = "another copy says"

Row = Mapping[str, Cell]
Key = tuple[str, str, int]


def merged(copies: Sequence[Copy]) -> Merged:
    """Return the rows of all copies, each cell as somebody changed it, and what clashes, cell by cell.

    What the plan put into a cell is known for status (``open``, or ``not needed`` where the site is kept), host (the
    planned host) and for the team's other columns (blank); in every other column the first copy counts as the plan.
    Of two different changes the first copy's is kept, of ``done`` and ``blocked`` the latter; the other goes to the
    row's remarks too, so that nothing is lost. Remarks are strung together. ``planned`` gives way without a clash.
    Steps are merged by their ids in the same way, and then say what became of their sites, as one more copy.
    """
    clashes: list[Clash] = []
    with_steps = [copy for copy in copies if copy.steps]
    steps = _together([(copy.file, copy.steps) for copy in with_steps], _by_id, "step", clashes)
    told = [(copy.file, copy.rows) for copy in copies if copy.rows]
    if steps:
        told.append((with_steps[0].file, tuple(by_site(steps))))
    rows = _together(told, _keyed, "site", clashes)
    differing, taken = _elsewhere(copies)
    notes = (*(note for copy in copies for note in copy.notes), *taken)
    return Merged(rows, (*clashes, *differing), steps, notes, stated_plan(copies))


def text_of(value: Typed) -> str:
    """Return a value as people read it; a date without its midnight."""
    if isinstance(value, dt.datetime) and value.time() == dt.time():
        return value.date().isoformat()
    return "" if value is None else str(value)


def _together(
    told: Sequence[tuple[str, tuple[Row, ...]]],
    keyed: Callable[[Sequence[Row]], Iterable[tuple[Key, Row]]],
    noun: str,
    clashes: list[Clash],
) -> tuple[Row, ...]:
    """Return the rows of all files by key, and add what clashes."""
    found: dict[Key, list[tuple[str, Row]]] = {}
    for file, rows in told:
        for key, row in keyed(rows):
            found.setdefault(key, []).append((file, row))
    first = told[0][0] if told else ""
    return tuple(_row(f"{noun} {key[0]}", versions, first, clashes) for key, versions in found.items())


def _keyed(rows: Sequence[Row]) -> Iterable[tuple[Key, Row]]:
    """Yield rows with what tells them apart: the site and, of a site with several rows, planned host and turn."""
    seen: Counter[tuple[str, str]] = Counter()
    sites = Counter(str(row[headings.SITE].value) for row in rows)
    for row in rows:
        site = str(row[headings.SITE].value)
        planned = text_of(row.get(headings.PLANNED_HOST, _BLANK).value) if sites[site] > 1 else ""
        yield (site, planned, seen[site, planned]), row
        seen[site, planned] += 1


def _by_id(rows: Sequence[Row]) -> Iterable[tuple[Key, Row]]:
    seen: Counter[str] = Counter()
    for row in rows:
        name = text_of(row[headings.STEP].value)
        yield (name, "", seen[name]), row
        seen[name] += 1


def _row(what: str, versions: Sequence[tuple[str, Row]], first: str, clashes: list[Clash]) -> Row:
    file, base = versions[0]
    names = dict.fromkeys(name for _, row in versions for name in row)
    row: dict[str, Cell] = {}
    lost: list[str] = []
    for name in names:
        cells = [(file, version[name]) for file, version in versions if name in version]
        where = base[name].where if name in base and file == first else ""
        if name == headings.REMARKS:
            texts = dict.fromkeys(text_of(cell.value) for _, cell in cells if cell.value is not None)
            row[name] = Cell(" / ".join(_not_within(list(texts))) or None, where, cells[0][1].source)
            continue
        kept, others = _kept(name, cells, _original(name, base))
        row[name] = Cell(kept.value, where, kept.source)
        if others:
            said = (text_of(kept.value), *others)
            told = tuple((f, cell.where, text_of(cell.value)) for f, cell in cells if text_of(cell.value) in said)
            clashes.append(Clash(what, name, told, text_of(kept.value)))
            lost += [f"[{name}: {_CONFLICT_NOTE} {text}]" for text in others]
    if lost:
        before = row.get(headings.REMARKS, _BLANK)
        note = " ".join(text for text in (text_of(before.value), *lost) if text)
        row[headings.REMARKS] = Cell(note, before.where, before.source)
    return row


def _not_within(texts: list[str]) -> list[str]:
    """Return the texts that no other of them holds whole: a copy of a merged workbook holds what was merged."""
    return [text for text in texts if not any(text != other and text in other for other in texts)]


def _original(name: str, base: Row) -> str | None:
    """Return the text that the plan put into a column; None where only the first copy can tell."""
    if name == headings.PROGRESS:
        return "not needed" if text_of(base.get(headings.ACTION, _BLANK).value) == "keep" else "open"
    if name == headings.HOST:
        return text_of(base[headings.PLANNED_HOST].value) if headings.PLANNED_HOST in base else None
    return "" if name in _BLANK_AT_FIRST else None


def _kept(name: str, cells: Sequence[tuple[str, Cell]], original: str | None) -> tuple[Cell, list[str]]:
    """Return the cell that goes on, and the texts of other changes."""
    start = text_of(cells[0][1].value) if original is None else original
    changed: dict[str, Cell] = {}
    for _, cell in cells:
        text = text_of(cell.value)
        # A decimal comma is no change: files of text have it where the spreadsheet program is set so.
        if text not in ("", start) and (original is not None or text.replace(",", ".") != start):
            changed.setdefault(_meaning(name, text), cell)
    if name == headings.PROGRESS and len(changed) > 1:
        changed.pop("planned", None)
    if not changed:
        return cells[0][1], []
    # Of done and blocked the one that promises less: who takes a site for done would count on its new host.
    kept = "blocked" if name == headings.PROGRESS and "blocked" in changed else next(iter(changed))
    return changed[kept], [text_of(cell.value) for key, cell in changed.items() if key != kept]


def _meaning(name: str, text: str) -> str:
    """Return what tells two answers apart: 12,5 and 12.5 ms are one time, yes and ja one answer, km and KM one person.

    >>> _meaning("RTT after ms", "12,5 ms"), _meaning("initials", "Km"), _meaning("remarks", "Ja")
    ('12.5', 'km', 'Ja')
    """
    if name == headings.RTT_AFTER:
        return text.casefold().removesuffix("ms").strip().replace(",", ".")
    if name == headings.VOTES_SEEN:
        return str(truth_of(text.strip(" .!")) if truth_of(text.strip(" .!")) is not None else text)
    return text.casefold() if name == headings.INITIALS else text


def _elsewhere(copies: Sequence[Copy]) -> tuple[list[Clash], list[str]]:
    """Return where a sheet differs from the first copy that has it, and what is taken over where that is blank."""
    clashes, taken = [], []
    firsts: dict[str, dict[str, tuple[str, str]]] = {}
    for copy in copies:
        for title, cells in _by_sheet(copy.others).items():
            new = title not in firsts
            known = firsts.setdefault(title, {})
            for where, text in sorted(cells.items()):
                fresh = where not in known and not new
                file, kept = known.setdefault(where, (copy.file, text))
                if text != kept:
                    clashes.append(Clash("another sheet", where, ((file, where, kept), (copy.file, where, text)), kept))
                elif fresh:
                    taken.append(f'{copy.file} {where}: "{text}" is copied into the merged workbook.')
    return clashes, taken


def _by_sheet(others: Mapping[str, str]) -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    for where, text in others.items():
        found.setdefault(where.rpartition("!")[0], {})[where] = text
    return found
