"""Which sheet, or which part of one, holds which table of the fleet: by mapping, title, header, and hub ids."""

from collections.abc import Collection, Sequence
from dataclasses import replace

from planner.columns import HUBS, LATENCY, POLICY, SHEETS, SITES, Sheet
from planner.intake.files import Reading
from planner.intake.findings import Findings, Place, closest, show
from planner.intake.headers import NO_IDS, table_of
from planner.intake.layout import Pins
from planner.intake.names import plain, resembles, sheet_of
from planner.intake.parts import Part, parts_of
from planner.intake.pinned import (
    listed_table,
    pinned_settings,
    pinned_table,
    unread_tables,
    with_units,
    without_settings,
)
from planner.intake.rawtable import RawSheet, RawTable, is_blank

_ALIKE = 0.85


class SheetTables:
    """The tables of a workbook or folder, each found when it is first asked for."""

    def __init__(self, reading: Reading, findings: Findings, pins: Pins) -> None:
        self._findings, self._pins = findings, pins
        self._parts: dict[str, Part] = {}
        self._spare: list[Part] = []
        self._unknown: list[RawSheet] = []
        self._raws = reading.sheets
        self._pinned: list[RawTable] = []
        # Sheets that were adopted: the mapping says all of them, so that nothing is looked for.
        self._adopted = {name for name, p in pins.items() if p.only or p.settings or p.given}
        own = {sheet.name for raw in reading.sheets if (sheet := sheet_of(raw.title)) is not None}
        self._adopted |= {name for name, p in pins.items() if p.listed and name not in own}
        # A mapping that gives settings of its own, but names no sheet for them, leaves the sheet Policy to be read.
        policy = pins.get(POLICY.name)
        self._beside = {POLICY.name} if policy is not None and not (policy.title or policy.settings) else set[str]()
        self._of_adopted = {
            plain(title) for name in self._adopted for p in pins[name].tables for title in (p.title, *p.also) if title
        }
        self._titled(reading)
        self._untitled()

    def __call__(self, sheet: Sheet, ids: Collection[str] = NO_IDS, names: Collection[str] = NO_IDS) -> list[RawTable]:
        """Return the tables of ``sheet`` in the order in which they count; several where a mapping says so.

        ``ids`` may head further columns, and so may ``names``, which do not tell by themselves what a sheet is.
        """
        if sheet.name not in self._adopted:
            table = self._one(sheet, ids, names)
            return [] if table is None else [with_units(table, self._findings)]
        pins = self._pins[sheet.name]
        if pins.listed:
            return [listed_table(sheet, pins, self._findings)]
        if sheet is POLICY:
            own = self._one(sheet, ids, names) if self._beside else None
            return [*([] if own is None else [own]), pinned_settings(self._raws, pins, self._findings)]
        tables = [pinned_table(self._raws, one, self._findings) for one in pins.tables]
        rules = self._pins.get(POLICY.name)
        found = [without_settings(with_units(t, self._findings), rules) for t in tables if t is not None]
        self._pinned += found
        return found

    def _one(self, sheet: Sheet, ids: Collection[str], names: Collection[str]) -> RawTable | None:
        if sheet is LATENCY and sheet.name not in self._parts and ids:
            self._find_matrix(ids)
        part = self._parts.get(sheet.name)
        if part is None:
            return None
        table = table_of(part.raw, sheet, self._findings, {*ids, *names}, self._pins.get(sheet.name), part.within)
        return table if table.headers or sheet.required else None

    def report_rest(self, titles: Sequence[tuple[str, str]], path: str) -> None:
        """Make findings of required sheets that are missing, and of sheets and tables that nobody asked for."""
        named = {sheet.name for _, title in titles if (sheet := sheet_of(title)) is not None}
        for sheet in SHEETS:
            # A sheet that is there but could not be read has a finding of its own.
            if sheet.required and sheet.name not in {*self._parts, *self._asked, *self._adopted, *named}:
                self._findings.add("sheet_missing", Place(path), sheet=sheet.name, meaning=sheet.meaning)
        used = {(part.raw.file, part.raw.title) for part in self._parts.values()}
        for file, title in titles:
            if (file, title) not in used and sheet_of(title) is None and plain(title) not in self._of_adopted:
                meant = closest(title, [sheet.name for sheet in SHEETS], _ALIKE)
                self._findings.add("sheet_unknown", Place(file, title), guess=_did_you_mean(meant))
        for part in self._spare:
            if self._parts.get(part.sheet.name) is not part:
                self._findings.add("table_unused", _head_place(part), sheet=part.sheet.name)
        for raw in self._raws:
            for block in unread_tables(raw, self._pinned) if plain(raw.title) in self._of_tables() else ():
                self._findings.add("table_unread", raw.place(block.row + 1, block.columns[0] + 1), rows=len(block.body))

    @property
    def missing(self) -> list[str]:
        """The sheets that a fleet needs and whose table or ids were not found."""
        found = {
            layout.sheet for layout in self._findings.layout if {"site", "hub"} & {m.column for m in layout.columns}
        }
        return [sheet.name for sheet in SHEETS if sheet.required and sheet.name not in found]

    def _of_tables(self) -> set[str]:
        """Return the titles of sheets that adopted tables stand on, those of settings alone left out."""
        return {plain(title) for table in self._pinned for title in (table.title, *table.also)}

    def _titled(self, reading: Reading) -> None:
        """Give every sheet its kind by the mapping, else by its title."""
        self._asked: set[str] = set()
        pinned: dict[str, list[str]] = {}
        for name, pins in self._pins.items():
            if pins.title and name not in self._adopted:
                pinned.setdefault(plain(pins.title), []).append(name)
        several: dict[str, list[RawSheet]] = {}
        for raw in reading.sheets:
            names = pinned.get(plain(raw.title), [])
            sheet = sheet_of(raw.title)
            if not names and sheet is not None and not self._pinned_elsewhere(sheet.name, reading):
                names = [sheet.name]
            if plain(raw.title) in self._of_adopted or set(names) & (self._adopted - self._beside):
                continue
            for name in names:
                several.setdefault(name, []).append(raw)
            if not names:
                self._unknown.append(raw)
        for name, raws in several.items():
            sheet = next(s for s in SHEETS if s.name == name)
            if len(raws) > 1:
                titles = " and ".join(show(raw.title) for raw in raws)
                self._findings.add("sheet_repeated", raws[1].place(), titles=titles, sheet=name)
            self._add_titled(sheet, raws[0])
        for name, pins in self._pins.items():
            if (
                pins.title
                and name not in self._adopted
                and not any(plain(raw.title) == plain(pins.title) for raw in reading.sheets)
            ):
                self._findings.add("mapping_sheet", Place(pins.file), title=show(pins.title), sheet=name)
                self._asked.add(name)

    def _pinned_elsewhere(self, name: str, reading: Reading) -> bool:
        title = self._pins[name].title if name in self._pins else ""
        return bool(title) and any(plain(raw.title) == plain(title) for raw in reading.sheets)

    def _add_titled(self, sheet: Sheet, raw: RawSheet) -> None:
        pins = self._pins.get(sheet.name)
        if pins is not None and pins.header_row:
            heads = [p.header_row for p in self._pins.values() if p.title and plain(p.title) == plain(raw.title)]
            stop = min((row - 1 for row in heads if row > pins.header_row), default=len(raw.cells))
            self._parts[sheet.name] = Part(sheet, raw, (0, stop), True)
            return
        parts = list(parts_of(raw, NO_IDS))
        own = [part for part in parts if part.sheet is sheet]
        others = [part for part in parts if part.sheet is not sheet]
        if own:
            self._parts[sheet.name] = replace(own[0], titled=True)
            self._report_twice(own)
        else:
            stop = min((p.within[0] for p in others if _is_below(p, raw)), default=len(raw.cells))
            others = [p for p in others if p.within[0] >= stop and stop > 0]
            self._parts[sheet.name] = Part(sheet, raw, (0, stop), True)
        self._spare += others

    def _report_twice(self, own: list[Part]) -> None:
        for again in own[1:]:
            self._findings.add("table_question", _head_place(again), sheet=again.sheet.name)

    def _untitled(self) -> None:
        """Find tables that no title names: on sheets of other names, and beside or below another table."""
        spare = list(self._spare)
        for raw in self._unknown:
            spare += parts_of(raw, NO_IDS)
        for sheet in SHEETS:
            if sheet.name in self._parts or sheet.name in self._asked or sheet.name in self._adopted:
                continue
            parts = [part for part in spare if part.sheet is sheet]
            likely = [part for part in parts if resembles(part.raw.title, sheet)] or parts
            if sheet.name in _RESEMBLING_ENOUGH and not likely:
                likely = [_whole(raw, sheet) for raw in self._unknown if resembles(raw.title, sheet)]
            self._choose(sheet, likely)

    def _choose(self, sheet: Sheet, parts: list[Part]) -> None:
        if len(parts) > 1:
            self._asked.add(sheet.name)
            titles = ", ".join(_head_place(part).where for part in parts)
            code = "sheet_question" if sheet.required else "sheet_doubtful"
            self._findings.add(code, _head_place(parts[0]), sheet=sheet.name, titles=titles)
        elif parts:
            self._parts[sheet.name] = parts[0]
            self._findings.add("sheet_by_content", _head_place(parts[0]), sheet=sheet.name)

    def _find_matrix(self, ids: Collection[str]) -> None:
        used = {(part.raw.file, part.raw.title) for part in self._parts.values()}
        parts = [
            part
            for raw in self._unknown
            if (raw.file, raw.title) not in used
            for part in parts_of(raw, ids)
            if part.sheet is LATENCY
        ]
        self._choose(LATENCY, [part for part in parts if resembles(part.raw.title, LATENCY)] or parts)


# Sheets that a title alone may name, whatever their columns: the columns can be asked for.
_RESEMBLING_ENOUGH = frozenset({SITES.name, HUBS.name})


def _whole(raw: RawSheet, sheet: Sheet) -> Part:
    return Part(sheet, raw, (0, len(raw.cells)), False)


def _head_place(part: Part) -> Place:
    return part.raw.place(part.within[0] + 1 if part.within[0] else 0)


def _is_below(part: Part, raw: RawSheet) -> bool:
    return any(not is_blank(cell) for row in raw.cells[: part.within[0]] for cell in row)


def _did_you_mean(meant: str) -> str:
    return f'Did you mean "{meant}"?' if meant else ""
