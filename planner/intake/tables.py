"""A raw table -> a typed one that remembers the cell of every value."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.columns import Column, Sheet
from planner.fleet import typed_table
from planner.intake.cells import clean, hand_through
from planner.intake.findings import Findings, Place, show
from planner.intake.matching import Known, Match, match_headers
from planner.intake.names import plain
from planner.intake.rawtable import Cells, RawTable, is_blank, is_empty, tidy
from planner.intake.units import NOTHING_STATED

# Words for totals and averages, as `plain` writes them, in the languages that spreadsheet programs are used in most.
_TOTAL_WORDS = (
    "total totals grand_total subtotal sum average mean gesamt gesamtsumme summe durchschnitt mittelwert somme moyenne "
    "totale media totaal som gemiddelde suma promedio soma média razem średnia toplam ortalama итого сумма 合計"
)
_TOTALS = frozenset(_TOTAL_WORDS.split())
_SUBTOTALS = frozenset({"subtotal", "zwischensumme"})
_STARTS = frozenset(word[:2] for word in (*_TOTALS, *_SUBTOTALS))  # of ten thousand ids few begin so
_COUNTED = frozenset({"sites", "hubs", "hosts", "clusters", "rows", "branches", "stores"})
_LONGEST_TOTAL = 60


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
    return read_matched(table, sheet, match, findings)


def read_matched(table: RawTable, sheet: Sheet, match: Match, findings: Findings) -> TypedSheet:
    """Return the cleaned table of ``table``, whose headers have been matched."""
    stated = match.stated
    known = {
        name: clean(Cells(sheet.column(name), table, index, findings, stated=stated.get(name, NOTHING_STATED)))
        for name, index in match.known.items()
    }
    own = {
        name: hand_through(Cells(Column(name, "text", ""), table, index, findings)) for name, index in match.own.items()
    }
    frame = typed_table(sheet, {**known, **own}, len(table.rows))
    read = TypedSheet(sheet, table, match, frame)
    return read.only(_has_ids(read, findings))


def _has_ids(read: TypedSheet, findings: Findings) -> npt.NDArray[np.bool_]:
    """Return which rows have all their required ids; a missing one becomes a finding."""
    has_all = np.ones(len(read.frame), dtype=np.bool_)
    for column in read.sheet.columns:
        if column.required and column.kind == "id" and column.name in read.match.known:
            has = (read.frame[column.name] != "").to_numpy(dtype=np.bool_)
            for position in np.flatnonzero(~has).tolist():
                place = read.place(position, column.name)
                if not findings.is_wrong(place):
                    findings.add("required_blank", place, column.name)
            has_all &= has
    return has_all


def without_totals(table: RawTable, findings: Findings) -> RawTable:
    """Return the table without total rows: a word such as Total, and apart from it nothing but numbers.

    They may stand at the end, frozen below the header, or after each group.
    """
    first = next((column for column in table.columns if not is_empty(column)), np.array([], dtype=object))
    texts = {text for text in set(first.tolist()) if isinstance(text, str) and text.strip()[:2].casefold() in _STARTS}
    words = {text for text in texts if _is_total(text)}
    at = [position for position, value in enumerate(first.tolist()) if isinstance(value, str) and value in words]
    totals = [position for position in at if _only_numbers(column[position] for column in table.columns)]
    for position in totals:
        findings.add("total_row", table.place(position), value=show(tidy(str(first[position]))))
    return table.only(np.delete(np.arange(len(table.rows)), totals)) if totals else table


def _is_total(text: str) -> bool:
    words = plain(text).split("_") if len(text) < _LONGEST_TOTAL else [""]
    return "_".join(words) in _TOTALS or words[0] in _SUBTOTALS or (words[0] == "total" and words[-1] in _COUNTED)


def _only_numbers(row: Iterable[object]) -> bool:
    """Return whether a row holds at least one number, and one text."""
    filled = [value for value in row if not is_blank(value) and value == value]  # NaN differs from itself
    texts = [value for value in filled if isinstance(value, str) and not _is_number(value)]
    return len(filled) > len(texts) == 1


def _is_number(text: str) -> bool:
    try:
        float(text.replace(",", ".", 1))
    except ValueError:
        return False
    return True
