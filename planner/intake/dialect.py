"""Which character separates the cells of a text file, decided by parsing it with each.

Counting fails on semicolons with decimal commas, which split as evenly as the semicolons do. A separator is right where
rows come out equally wide and cells whole: no cell then still holds what looks like another separator (python/cpython
issue 97611 tells why csv.Sniffer came to parse too).
"""

import csv
import io
import re
from collections import Counter
from itertools import islice
from typing import NamedTuple

from planner.intake.adopt.kinds import kind_of

_SEPARATORS = ",;\t|"
_SAMPLE_CHARACTERS, _SAMPLE_ROWS = 100_000, 60
_DECIMAL = re.compile(r"[<>~]?\s*[+-]?\d[\d.' ]*,\d+\s*\S{0,4}")
_LISTS = re.compile(r"[^\W\d_]|, ")  # a comma between words, or before a blank, is punctuation


class Fit(NamedTuple):
    """How well a separator fits: share of rows of one width with whole cells, share of figures and dates, width."""

    rows: float
    typed: float
    width: int


def separator_of(text: str) -> tuple[str, str]:
    """Return the separator and the text below a line that states it (``sep=;``), if there is one.

    >>> separator_of("Filiale;ESK;ROV\\n1;12,5;3,1\\n2;8,25;4,75\\n")[0]
    ';'
    """
    stated = re.match(r"\ufeff?\"?sep=(.)\"?\r?\n", text, re.IGNORECASE)
    if stated:
        return stated[1], "\n" + text[stated.end() :]  # the line counts as a row
    start = text[:_SAMPLE_CHARACTERS]
    return max(_SEPARATORS, key=lambda separator: _fit(start, separator)), text


def _fit(start: str, separator: str) -> Fit:
    try:
        rows = [
            row
            for row in islice(csv.reader(io.StringIO(start, newline=""), delimiter=separator), _SAMPLE_ROWS)
            if any(cell.strip() for cell in row)
        ]
    except csv.Error:
        return Fit(0.0, 0.0, 0)
    widths = Counter(len(row) for row in rows if len(row) > 1)
    if not widths:
        return Fit(0.0, 0.0, 0)
    usual = max(widths, key=lambda width: (widths[width], width))
    cells = [cell.strip() for row in rows if len(row) == usual for cell in row if cell.strip()]
    torn = sum(_is_torn(cell, separator) for cell in cells) / max(len(cells), 1)
    typed = sum(kind_of(cell) in ("number", "date") for cell in cells) / max(len(cells), 1)
    return Fit(round(widths[usual] / len(rows) * (1.0 - torn), 2), round(typed, 1), usual)


def _is_torn(cell: str, separator: str) -> bool:
    """Return whether a cell still holds another separator that is no decimal comma and no punctuation."""
    if any(other in cell for other in ";\t|" if other != separator):
        return True
    return separator != "," and "," in cell and not _DECIMAL.fullmatch(cell) and not _LISTS.search(cell)
