"""Collects findings with their places; nothing is raised until all are in."""

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches

from openpyxl.utils import get_column_letter, quote_sheetname

from planner.columns import SHEETS
from planner.fleet import Finding
from planner.intake.layout import SheetLayout
from planner.intake.messages import CATALOGUE

# Findings of one kind in one column that are listed singly; the rest is summed up in one more.
LISTED = 20
_NAMED_CELLS = 3
_LONGEST_VALUE = 40
_MOST_COMPARED = 1000
_ONCE_WORDS = """total_row note_row header_again header_two_rows rows_above merged_cells sheet_hidden rows_hidden
columns_hidden rows_left_out mapping_gone mapping_sheet"""
_ONCE = frozenset(_ONCE_WORDS.split())
_ORDER = {"error": 0, "warning": 1, "info": 2}


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands, as the user sees it: rows and columns count from 1, 0 is none.

    ``label`` replaces the address where there are no cells, as in a mapping of settings.
    """

    file: str = ""
    sheet: str = ""
    row: int = 0
    column: int = 0
    label: str = ""

    @property
    def cell(self) -> str:
        """Such as ``F17``; ``row 17`` where the column is not known."""
        if not self.column:
            return f"row {self.row}" if self.row else ""
        return get_column_letter(self.column) + (str(self.row) if self.row else "")

    @property
    def where(self) -> str:
        """Such as ``Sites!F17``."""
        return self.label or _address(self.sheet, self.cell)


def _address(sheet: str, cell: str) -> str:
    title = sheet if all(c.isalnum() or c == "_" for c in sheet) else quote_sheetname(sheet)
    return f"{title}!{cell}" if cell else sheet


def show(value: object) -> str:
    """Return ``value`` as a message quotes it: text in quotation marks, whole floats without a fraction."""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(float(value))
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, str):
        return f'"{value}"' if len(value) <= _LONGEST_VALUE else f'"{value[:_LONGEST_VALUE]}..."'
    return str(value)


def guess(word: str, among: Collection[str]) -> str:
    """Return a question that names what ``word`` may have been meant to be, or an empty text."""
    close = closest(word, among)
    return f'Did you mean "{close}"?' if close else ""


def closest(word: str, among: Collection[str], least: float = 0.7) -> str:
    """Return the entry most like ``word``, letter case aside; empty when none is at least ``least`` alike (0 to 1).

    Among many entries only letter case is looked at: comparing is slow, and one of many numbers says little.
    """
    lowered = {entry.casefold(): entry for entry in among}
    if word.casefold() in lowered or len(lowered) > _MOST_COMPARED:
        return lowered.get(word.casefold(), "")
    close = get_close_matches(word.casefold(), lowered, n=1, cutoff=least)
    return lowered[close[0]] if close else ""


@dataclass(slots=True)
class _Group:
    """Findings of one code in one column of one sheet."""

    listed: list[Finding] = field(default_factory=list)
    places: list[Place] = field(default_factory=list)
    words: dict[str, object] | None = None  # of a note: one finding for all places

    def findings(self, code: str, titles: Mapping[str, str]) -> list[Finding]:
        if self.words is not None:
            return [_render(code, self.places[0], {**titles, **self.words, "cells": _cells(self.places)})]
        more = self.places[len(self.listed) :]
        return [*self.listed, _summary(code, more)] if more else self.listed


def _cells(places: list[Place]) -> str:
    kind = "cell" if places[0].column else "row"
    names = [p.label or p.cell.removeprefix("row ") for p in places[:_NAMED_CELLS]]
    if len(places) == 1:
        return places[0].label or f"{kind} {names[0]}"
    rest = len(places) - _NAMED_CELLS
    return f"{len(places)} {kind}s ({', '.join(names)}" + (f" and {rest} more)" if rest > 0 else ")")


def _summary(code: str, places: list[Place]) -> Finding:
    first, rows, columns = places[0], [p.row for p in places], [p.column for p in places]
    corners = [Place(row=pick(rows), column=pick(columns)).cell for pick in (min, max)]
    area = ":".join(dict.fromkeys(corners))
    message = f"{len(places)} more like the {LISTED} listed, all in {area}." if area else f"{len(places)} more."
    where = first.label or _address(first.sheet, area)
    return Finding(CATALOGUE[code].severity, code, where, message, "Correct them in the same way.", first.file)


def _render(code: str, place: Place, words: dict[str, object]) -> Finding:
    template = CATALOGUE[code]
    words = {slot: word() if callable(word) else word for slot, word in words.items()}
    message, hint = template.message.format(**words), template.hint.format(**words)
    return Finding(template.severity, code, place.where, message, hint.strip(), place.file)


class Findings:
    """The findings of one reading. `add` lists a place singly, `note` sums up all places in one finding.

    Of one code in one column of one sheet at most `LISTED` are listed; one more then says how many follow and where.
    """

    def __init__(self, listed: int = LISTED) -> None:
        self._listed = listed
        self._groups: dict[tuple[str, str, str, str], _Group] = {}
        self._wrong: set[tuple[str, str, int, int, str]] = set()
        self.layout: list[SheetLayout] = []  # what was found where, for those who ask
        self.left_out: set[str] = set()  # ids of rows that a mapping leaves out
        self.titles = {sheet.name: sheet.name for sheet in SHEETS}  # what the user calls each sheet

    def add(self, code: str, place: Place, column: str = "", **words: object) -> None:
        """Record a finding at ``place``; ``column`` is the canonical name by which findings are grouped.

        A word that costs time to find may be given as a function; it is called only if the finding is listed.
        """
        group = self._group(code, place, column)
        if code in _ONCE and place in group.places:
            return  # a table that holds two sheets is read twice
        group.places.append(place)
        if len(group.listed) < self._listed:
            group.listed.append(_render(code, place, {**self.titles, "column": column, **words}))

    def note(self, code: str, place: Place, column: str = "", **words: object) -> None:
        """Record one more place of a finding that sums up; the words of the first count."""
        group = self._group(code, place, column)
        group.places.append(place)
        if group.words is None:
            group.words = {"column": column, **words}

    def some(self, names: Sequence[str]) -> str:
        """Return as many of ``names`` as are listed of a finding, and how many more there are."""
        more = len(names) - self._listed
        return ", ".join(names[: self._listed]) + (f" and {more:,} more" if more > 0 else "")

    def lead(self, code: str, place: Place, **words: object) -> None:
        """Record a finding that comes before all others of its severity."""
        group = _Group()
        self._groups = {(place.file, place.sheet, "", code): group, **self._groups}
        self.add(code, place, "", **words)

    def drop(self, code: str) -> None:
        """Forget the findings of a code, since another finding says it better."""
        self._groups = {key: group for key, group in self._groups.items() if key[3] != code}

    def has(self, codes: Collection[str]) -> bool:
        """Return whether there is a finding of one of these codes."""
        return any(code in codes for *_, code in self._groups)

    def _group(self, code: str, place: Place, column: str) -> _Group:
        if CATALOGUE[code].severity == "error":
            self._wrong.add(_key(place))
        return self._groups.setdefault((place.file, place.sheet, column, code), _Group())

    def is_wrong(self, place: Place) -> bool:
        """Return whether an error stands at ``place`` already, so that another check need not repeat it."""
        return _key(place) in self._wrong

    @property
    def any_error(self) -> bool:
        """Whether there is an error among the findings."""
        return bool(self._wrong)

    def result(self) -> tuple[Finding, ...]:
        """Return all findings: errors, then warnings, then infos, each in the order in which they were met."""
        found = [f for (*_, code), group in self._groups.items() for f in group.findings(code, self.titles)]
        return tuple(sorted(found, key=lambda f: _ORDER[f.severity]))


def _key(place: Place) -> tuple[str, str, int, int, str]:
    return place.file, place.sheet, place.row, place.column, place.label
