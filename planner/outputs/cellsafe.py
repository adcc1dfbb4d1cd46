"""Values that every spreadsheet program shows as they are: no formula, no illegal character, no over-long text."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Collection
from typing import Any

import pandas as pd
from openpyxl.cell.cell import Cell

Value = str | int | float | bool | dt.datetime | dt.date | dt.time | None

# Limits of the file format, as documented by XlsxWriter (check values XL-1 to XL-3).
MAX_ROWS = 1_048_576
MAX_COLUMNS = 16_384
MAX_TEXT = 32_767  # UTF-16 units in one cell
MAX_SHEET_NAME = 31
MAX_HEADING = 255  # characters in the name of a table column

_FORMULA_STARTS = ("=", "+", "-", "@", "\t")
# What XML 1.0 cannot hold: most control characters, lone surrogates and the two non-characters.
_ILLEGAL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
# Readers take _x0041_ for an A; the underscore is to be written as _x005F_ then (ECMA-376, part 1, 22.9.2.19).
_LOOKS_ESCAPED = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
_FIRST_SAFE_DAY = dt.datetime(1900, 3, 1)  # day numbers before it are off by one: 29 February 1900 never was
_LARGEST_EXACT_WHOLE = 2**53
_GREATEST = 1.79769313486231e308  # of 15 digits


def put(cell: Cell, value: Value) -> None:
    """Put ``value`` into an already styled cell; text stays text even where it looks like a formula or an error."""
    if value is None or value == "":
        return
    if not isinstance(value, str):
        cell.value = number(value) if isinstance(value, float) else value
        return
    cell.value = cell_text(value)
    cell.data_type = "s"  # openpyxl takes "=..." for a formula and "#N/A" for an error
    if looks_like_formula(value):
        cell.quotePrefix = True  # so it stays text when somebody edits the cell and presses Enter


def cell_text(text: str) -> str:
    """Return ``text`` as the file format has it: safe, and with what readers would take for an escape escaped."""
    return _LOOKS_ESCAPED.sub("_x005F_", safe_text(text))


def looks_like_formula(text: str) -> bool:
    """Say whether somebody who edits a cell with ``text`` would turn it into a formula."""
    return text.startswith(_FORMULA_STARTS)


def number(value: float) -> float | None:
    """Return ``value`` to the 15 digits that spreadsheet programs keep, so that saving there changes nothing."""
    if not math.isfinite(value):
        return None
    rounded = float(f"{value:.15g}")
    # The greatest numbers round up to infinity, which no cell can hold.
    return rounded if math.isfinite(rounded) else math.copysign(_GREATEST, value)


def safe_text(text: str) -> str:
    """Return ``text`` with illegal characters shown as U+FFFD, line ends as "\\n", cut with a note at 32,767 units."""
    text = _ILLEGAL.sub("\ufffd", text).replace("\r\n", "\n").replace("\r", "\n")
    units = len(text) if text.isascii() else len(text.encode("utf-16-le")) // 2
    if units <= MAX_TEXT:
        return text
    note = f" [cut: {len(text):,} characters]"
    kept = text.encode("utf-16-le")[: 2 * (MAX_TEXT - len(note))]
    return kept.decode("utf-16-le", errors="ignore") + note


def plain(value: Any) -> Value:
    """Return any value of a fleet table as one that a cell can hold; what it cannot hold becomes text.

    Missing values (None, NaN, NaT, infinity, an empty list) become None, id lists are joined with ``"; "``.
    """
    if isinstance(value, (tuple, list)):
        return "; ".join(str(part) for part in value) or None
    if hasattr(value, "item"):
        value = value.item()  # NumPy scalar
    if value is None or value is pd.NaT or value is pd.NA or value != value or value in (float("inf"), float("-inf")):
        return None
    if isinstance(value, dt.datetime):
        moment = value.to_pydatetime() if isinstance(value, pd.Timestamp) else value
        return moment if moment.tzinfo is None and moment >= _FIRST_SAFE_DAY else str(moment)
    if isinstance(value, dt.date):
        return value if value >= _FIRST_SAFE_DAY.date() else value.isoformat()
    if isinstance(value, int) and abs(value) > _LARGEST_EXACT_WHOLE:
        return str(value)
    return value if isinstance(value, (str, int, float, dt.time)) else str(value)


def sheet_name(wanted: str, taken: Collection[str] = ()) -> str:
    """Return a valid sheet name close to ``wanted`` and, ignoring case, not among ``taken``."""
    name = re.sub(r"[\[\]:*?/\\]", "-", one_line(wanted)).strip("' ")[:MAX_SHEET_NAME].rstrip("' ") or "Sheet"
    return _unused(name, taken, MAX_SHEET_NAME)


def table_name(wanted: str, taken: Collection[str] = ()) -> str:
    """Return a valid name of an Excel table close to ``wanted`` and, ignoring case, not among ``taken``."""
    name = re.sub(r"[^A-Za-z0-9_]", "_", wanted)[:200] or "Table"
    # A table may not be called like a cell (A1, R1C1, and R or C alone), nor begin with a digit.
    if name[0].isdigit() or re.fullmatch(r"[A-Za-z]{1,3}\d+|[Rr]\d*([Cc]\d*)?|[Cc]\d*", name):
        name = f"T_{name}"
    return _unused(name, taken, 255, between="_")


def column_heading(wanted: str, taken: Collection[str] = ()) -> str:
    """Return a heading close to ``wanted`` that a table column can bear, ignoring case not among ``taken``."""
    return _unused(one_line(wanted)[: MAX_HEADING - 10] or "column", taken, MAX_HEADING)


def one_line(text: str) -> str:
    """Return ``text`` safe for a cell, with every run of blanks and line ends made one space."""
    return " ".join(safe_text(text).split())


def _unused(name: str, taken: Collection[str], longest: int, between: str = " ") -> str:
    used = {other.casefold() for other in taken}
    candidate, number = name, 2
    while candidate.casefold() in used:
        suffix = f"{between}({number})" if between == " " else f"{between}{number}"
        candidate, number = name[: longest - len(suffix)] + suffix, number + 1
    return candidate
