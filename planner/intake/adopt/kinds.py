"""What a single cell looks like, before anybody knows what its column is."""

import datetime as dt
import re
from decimal import Decimal
from typing import Any, Literal

import numpy as np

from planner.intake.dates import is_date_text
from planner.intake.known_words import is_unknown
from planner.intake.nouns import counted_in
from planner.intake.rawtable import Broken, is_blank, tidy

CellKind = Literal["", "number", "date", "text"]

# A figure as people type it: a sign or a bound, digits with separators, and at most a short unit behind it.
_FIGURE = re.compile(r"[<>≤≥~≈]?\s*[+\-−]?\d[\d.,' \u00a0\u2009\u202f’]*\s*(?:%|°|[a-zA-Zµμ]{1,4}(?:/s)?)?")
_LONGEST_FIGURE = 30
_LONGEST_DATE = 40


def kind_of(value: Any) -> CellKind:
    """Return what a cell looks like; an error, and a word for "not known", are like a blank: they fit anywhere."""
    if isinstance(value, bool | np.bool_):
        return "text"
    if isinstance(value, int | float | Decimal | np.number):
        return "" if value != value else "number"
    if isinstance(value, dt.date | dt.time | dt.timedelta):
        return "date"
    if is_blank(value) or isinstance(value, Broken):
        return ""
    return _kind_of_text(tidy(str(value)))


def _kind_of_text(text: str) -> CellKind:
    if not text or is_unknown(text):
        return ""
    if len(text) <= _LONGEST_FIGURE and _FIGURE.fullmatch(text):
        return "date" if _looks_like_day(text) else "number"
    if len(text) <= _LONGEST_DATE and text[:1].isdigit() and is_date_text(text):
        return "date"
    return "text" if counted_in(text) is None else "number"


def _looks_like_day(text: str) -> bool:
    """Return whether digits and points are a day such as 24.12.2026, and no figure."""
    return text.count(".") == 2 and is_date_text(text)
