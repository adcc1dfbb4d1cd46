"""Rows of a table that are none of its things: totals, averages, footnotes, titles of sections.

Each is left out with a finding. What decides is how the row's id is written beside all others, and how little else the
row holds; words for totals are known in the languages that spreadsheet programs are used in most.
"""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from planner.intake.findings import Findings, show
from planner.intake.names import plain
from planner.intake.rawtable import RawTable, broken, is_blank, is_empty, tidy

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


_WORDS_OF_FIGURES = """max min maximum minimum median count anzahl nombre number p95 p90 p99 std stdev percentile minimo
massimo maximo avg mittel durchschn moy prom grand overall gesamtzahl ilosc pocet aantal antal"""
_FIGURE_WORDS = frozenset(_WORDS_OF_FIGURES.split())
_SIGNS = ("Ø", "⌀", "∅", "Σ", "∑")
_USUAL = 0.2  # share of the rows from which a way of writing ids is usual
_LITTLE = 0.5  # share of the usual number of filled cells
_MOST_TEXTS = 20_000  # ids of words alone are looked at row by row up to here
_TITLE_FILLED = 4


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


def without_notes(table: RawTable, ids: Sequence[int], findings: Findings) -> RawTable:
    """Return the table without rows that are no things of it, given the columns that hold the ids."""
    if not ids or not len(table.rows):
        return table
    column = table.columns[ids[0]].tolist()
    shapes = [_shape(value) for value in column]
    numbers = Counter(shape for shape in shapes if shape)
    usual = {shape for shape, number in numbers.items() if number >= max(2, _USUAL * numbers.total())}
    in_words = any("9" not in shape for shape in usual) and len(column) <= _MOST_TEXTS
    odd = [i for i, shape in enumerate(shapes) if shape not in usual or (in_words and "9" not in shape)]
    if not odd or not usual:
        return table
    usually = _usually_filled(table)
    out = []
    for position in odd:
        filled = [value for cells in table.columns if not _is_nothing(value := cells[position])]
        code = _kind_of_row(column[position], filled, usually, shapes[position] in usual)
        if code:
            out.append(position)
            findings.add(code, table.place(position), value=show(tidy(str(filled[0]))) if filled else "")
    return table.only(np.delete(np.arange(len(table.rows)), out)) if out else table


def _kind_of_row(own: Any, filled: list[Any], usually: float, is_usual: bool) -> str:
    """Return the code of the finding about a row that is no thing; blank where it may be one."""
    if any(broken(value) is not None for value in filled):
        return ""
    texts = [value for value in filled if isinstance(value, str) and not _is_number(value)]
    first = plain(texts[0]).split("_")[0] if texts else ""
    if is_usual:
        return "note_row" if len(filled) == 1 and usually >= _TITLE_FILLED else ""
    if (
        first in _TOTALS | _SUBTOTALS | _FIGURE_WORDS
        and len(filled) > len(texts)
        and len(texts) <= 1 + (usually > _TITLE_FILLED)
    ):
        return "total_row"
    blank = _is_nothing(own)
    if not blank and not isinstance(own, str):
        return ""
    if not blank and not _may_be_note(str(own)):
        return ""
    if len(filled) <= 1 and usually > 1:
        return "note_row"
    return "note_row" if len(filled) <= _LITTLE * usually and not blank else ""


def _may_be_note(own: str) -> bool:
    """Return whether a text beside ids of another make may be a title or a note: several words, or one with a sign."""
    text = tidy(own)
    return len(text.split()) > 1 or text[:1] in "*†‡¹²³" or text[-1:] in ":." or (len(text) > 3 and text.isalpha())


def _shape(value: Any) -> str:
    """Return how an id is written, runs of digits and of letters as one: ``AG-0042`` -> ``A-9``."""
    if _is_nothing(value):
        return ""
    text = tidy(value) if isinstance(value, str) else show(value)
    return re.sub(r"[^\W\d_]+", _letters, re.sub(r"\d+", "9", text))


def _letters(run: "re.Match[str]") -> str:
    """Return a run of letters as ``A`` (capitals), ``a`` (small) or ``Aa`` (a word with a capital)."""
    text = run[0]
    return "A" if text.isupper() else "a" if text.islower() else "Aa"


def _usually_filled(table: RawTable) -> float:
    """Return the median number of filled cells of a row, of up to some hundred rows."""
    step = max(1, len(table.rows) // 300)
    rows = range(0, len(table.rows), step)
    return float(np.median([sum(not _is_nothing(cells[i]) for cells in table.columns) for i in rows]))


def _is_nothing(value: Any) -> bool:
    return is_blank(value) or value != value  # NaN and NaT differ from themselves
