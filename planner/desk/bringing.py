"""Files that somebody brought -> what each column is taken for, findings, and a Fleet; again with every choice."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory

from openpyxl.utils import get_column_letter

from planner.desk.choices import Choices, Found, corrected, with_columns
from planner.fleet import Fleet
from planner.intake.adopt import Adoption, Guesser
from planner.intake.files import Reading, read_sheets
from planner.intake.findings import Findings
from planner.intake.layout import Pins, SheetLayout
from planner.intake.mapping import read_mapping
from planner.intake.mapping_text import adoption_text, mapping_text
from planner.intake.rawtable import RawSheet
from planner.intake.read_fleet import Inspection, inspect_reading

ADOPTED = frozenset({"adopt_hint"})  # findings that say: the file has other names than ours, and can be adopted


@dataclass(frozen=True)
class Brought:
    """What reading the files gave: the fleet if any, findings, where everything stands, and what was asked."""

    inspection: Inspection
    sheets: Sequence[RawSheet]
    found: dict[str, Found]
    adoption: Adoption | None
    choices: Choices
    pins: Pins
    title: str

    @property
    def fleet(self) -> Fleet | None:
        """The fleet; None where an error forbids one."""
        return self.inspection.fleet

    def mapping(self) -> str:
        """Return the text of the mapping file that reads the files so at the command line."""
        if self.choices.mapping and not self.choices.columns:
            return self.choices.mapping
        if self.adoption is None:
            return mapping_text(self.inspection.layout, {name: one.ignore for name, one in self.pins.items()})
        guesses, seen = [], set[str]()
        for guess in self.adoption.guesses:  # further tables of a sheet stay as they were guessed
            guesses.append(guess if guess.sheet in seen else replace(guess, pins=self.pins[guess.sheet]))
            seen.add(guess.sheet)
        return adoption_text(replace(self.adoption, guesses=tuple(guesses)), self.title)


class Files:
    """The files in a folder, read once; `read` gives what they make with a person's choices."""

    def __init__(self, folder: Path) -> None:
        there = sorted(path for path in folder.iterdir() if path.is_file() and not path.name.startswith("."))
        self.path = there[0] if len(there) == 1 else folder
        self.title = self.path.name if len(there) == 1 else f"{len(there)} files"
        beside = folder.parent / "pings"  # ping output that was named at the command line
        self._pings = beside if beside.is_dir() else None
        self._findings = Findings()
        self._reading = read_sheets(self.path, lambda title: True, self._findings)

    @cached_property
    def _guesser(self) -> Guesser:
        return Guesser(self._reading.sheets)

    @cached_property
    def _named_otherwise(self) -> bool:
        """Whether the files are not named as ours, so that they have to be adopted."""
        first = self._inspected(self._reading.sheets, {})
        return first.fleet is None and any(finding.code in ADOPTED for finding in first.findings)

    def read(self, choices: Choices) -> Brought:
        """Return what the files make with ``choices``."""
        sheets = corrected(self._reading.sheets, choices.cells)
        adoption, pins = self._pinned(choices)
        first = self._inspected(sheets, pins)
        found = _found(first.layout, sheets)
        chosen = with_columns(pins, choices.columns, found)
        inspection = first if chosen == pins else self._inspected(sheets, chosen)
        found |= _found(inspection.layout, sheets)
        return Brought(inspection, sheets, found, adoption, choices, chosen, self.title)

    def _pinned(self, choices: Choices) -> tuple[Adoption | None, Pins]:
        """Return what is adopted, if anything, and what is pinned before a person chooses columns."""
        if choices.mapping:
            return None, _pins_of(choices.mapping)
        if not self._named_otherwise:
            return None, {}
        adoption = self._guesser.guess(choices.answers)
        return adoption, adoption.pins

    def _inspected(self, sheets: Sequence[RawSheet], pins: Pins) -> Inspection:
        findings = copy.deepcopy(self._findings)
        reading = Reading(self._reading.titles, list(sheets), self._reading.sources)
        return inspect_reading(reading, self.path, pins, findings, self._pings)


def _pins_of(text: str) -> Pins:
    with TemporaryDirectory() as aside:
        path = Path(aside) / "fleet.toml"
        path.write_text(text, encoding="utf-8")
        return read_mapping(path, Findings())


def _found(layouts: Sequence[SheetLayout], sheets: Sequence[RawSheet]) -> dict[str, Found]:
    """Return where each sheet of the fleet stands, the first of each."""
    by_title = {raw.title: raw for raw in reversed(sheets)}
    made: dict[str, Found] = {}
    for layout in layouts:
        raw = by_title.get(layout.title)
        if raw is None or layout.sheet in made or layout.sheet == "Policy":
            continue
        last = layout.header_row + max(layout.header_rows, 1) - 1
        row = raw.cells[last - 1] if 0 < last <= len(raw.cells) else ()
        headers = {get_column_letter(at): str(cell).strip() for at, cell in enumerate(row, 1) if str(cell).strip()}
        columns = {matched.letter: matched.column for matched in layout.columns}
        headers.update({m.letter: m.header for m in layout.columns if m.letter not in headers})
        made[layout.sheet] = Found(layout.title, layout.header_row, max(layout.header_rows, 1), columns, headers)
    return made
