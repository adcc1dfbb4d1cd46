"""A raw table -> a typed one that remembers the cell of every value."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.columns import CURRENT, LATENCY, SAMPLES, Column, Sheet
from planner.fleet import typed_table
from planner.intake.cells import clean, hand_through
from planner.intake.findings import Findings, Place
from planner.intake.known_words import is_unknown
from planner.intake.matching import Known, Match, match_headers
from planner.intake.norows import without_notes, without_totals
from planner.intake.planned import planned_rows
from planner.intake.rawtable import Cells, RawTable
from planner.intake.units import NOTHING_STATED


@dataclass(frozen=True)
class TypedSheet:
    """The typed table of a sheet; row i of ``frame`` is row i of ``raw``."""

    sheet: Sheet
    raw: RawTable
    match: Match
    frame: pd.DataFrame

    def place(self, position: int, column: str) -> Place:
        """Return the cell of a value; where the sheet has no such column, the row."""
        return self.raw.place(position, self.match.known.get(column))

    def only(self, keep: npt.NDArray[np.bool_]) -> "TypedSheet":
        """Return a copy with the rows that the mask ``keep`` selects."""
        if keep.all():
            return self
        return TypedSheet(self.sheet, self.raw.only(keep), self.match, self.frame[keep].reset_index(drop=True))


def read_table(table: RawTable, sheet: Sheet, findings: Findings, known: Known | None = None) -> TypedSheet:
    """Return the cleaned table; rows without a required id are left out, with a finding.

    ``known`` are the ids that some columns refer to, by which a column without a known name can be told.
    """
    table = without_totals(table, findings)
    required = [column for column in sheet.columns if column.required]
    match = match_headers(table, sheet, findings, required, known)
    table = without_notes(table, [match.known[c.name] for c in required if c.name in match.known], findings)
    table = planned_rows(table, sheet, match, findings)
    return read_matched(table, sheet, match, findings)


def read_matched(
    table: RawTable, sheet: Sheet, match: Match, findings: Findings, beyond: dict[int, float] | None = None
) -> TypedSheet:
    """Return the cleaned table of ``table``, whose headers have been matched.

    ``beyond`` takes up the rows whose round-trip time is only known to exceed a figure, and that figure; in the table
    they then have it as a negative number.
    """
    stated = match.stated
    known = {}
    for name, index in match.known.items():
        asked = beyond if name == "rtt_ms" else None
        said = stated.get(name, NOTHING_STATED)
        known[name] = clean(Cells(sheet.column(name), table, index, findings, stated=said, beyond=asked))
    own = {
        name: hand_through(Cells(Column(name, "text", ""), table, index, findings)) for name, index in match.own.items()
    }
    if beyond:
        known["rtt_ms"][list(beyond)] = -np.array(list(beyond.values()))
    frame = typed_table(sheet, {**known, **own}, len(table.rows))
    read = TypedSheet(sheet, table, match, frame)
    return read.only(_has_ids(read, findings))


def _has_ids(read: TypedSheet, findings: Findings) -> npt.NDArray[np.bool_]:
    """Return which rows have all their required ids; a missing one becomes a finding."""
    has_all = np.ones(len(read.frame), dtype=np.bool_)
    for column in read.sheet.columns:
        if column.required and column.kind == "id" and column.name in read.match.known:
            has = (read.frame[column.name] != "").to_numpy(dtype=np.bool_)
            if read.sheet in (CURRENT, LATENCY, SAMPLES) and read.raw.pins is not None and read.raw.pins.only:
                has = has & ~read.frame[column.name].map(is_unknown).to_numpy(dtype=np.bool_)
                for position in np.flatnonzero(~has).tolist():
                    code = "current_none" if read.sheet is CURRENT else "pair_blank"
                    findings.note(code, read.place(position, column.name), column.name)
                has_all &= has
                continue
            for position in np.flatnonzero(~has).tolist():
                place = read.place(position, column.name)
                if not findings.is_wrong(place):
                    findings.add("required_blank", place, column.name)
            has_all &= has
    return has_all
