"""Cells that should hold text: ids, lists of ids, releases, choices, time zones, windows.

A text reads the same wherever it stands in a column, so each is looked at once; what is not text is looked at cell by
cell, because a number's format may tell what the text was.
"""

import datetime as dt
import re
import unicodedata
from collections.abc import Callable
from decimal import Decimal
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import numpy as np

from planner.intake.findings import guess, show
from planner.intake.known_words import ENGLISH_TRUTHS, is_unknown, truth_of
from planner.intake.rawtable import Cells, is_steered, tidy
from planner.releases import parse_release
from planner.windows import parse_windows

# Spreadsheets keep 15 digits of a number.
_MOST_ID = 10**15
_LONGEST_ID = 200
LONGEST_TEXT = 32_767  # what a cell holds (XlsxWriter's documentation)
_NAMES = frozenset({"id", "ids", "text"})
_DIGITS = re.compile(r"\d+")
_VERSION = re.compile(r"\d+(\.\d+)?")

TextReader = Callable[[Cells, int, str], Any]
OtherReader = Callable[[Cells, int, Any], str]


def read_texts(cells: Cells, from_text: TextReader, from_other: OtherReader, blank: Any = "") -> list[Any]:
    """Return the column read by ``from_text`` for tidy text, and by ``from_other`` for anything else.

    A reader makes a finding of what it cannot read and returns the blank; such a text is looked at again in each cell.
    """
    known: dict[str, Any] = {"": blank}
    result = []
    for position, value in enumerate(cells.objects()):
        if type(value) is str and value in known:
            result.append(known[value])
            continue
        text = _tidied(cells, position, value) if isinstance(value, str) else from_other(cells, position, value)
        read = from_text(cells, position, text) if text else blank
        if text == value and read != blank:
            known[value] = read
        result.append(read)
    return result


def _tidied(cells: Cells, position: int, text: str) -> str:
    clean = tidy(text)
    if cells.spec.kind == "id" and not clean.isprintable():
        clean = " ".join(clean.split())
    if clean and clean != text:
        cells.note("text_steered" if is_steered(text) else "text_tidied", position)
    if len(clean) > (_LONGEST_ID if cells.spec.kind == "id" else LONGEST_TEXT):
        cells.add("id_long" if cells.spec.kind == "id" else "text_cut", position, length=f"{len(clean):,}")
        return "" if cells.spec.kind == "id" else clean[:LONGEST_TEXT]
    if cells.spec.kind not in _NAMES and clean not in cells.spec.choices and is_unknown(clean):
        cells.note("value_unknown", position)
        return ""
    return clean


def id_from_other(cells: Cells, position: int, value: Any) -> str:
    """Return the id that a number, a date or a truth value stands for; findings tell what may have been lost."""
    if isinstance(value, bool | np.bool_):
        cells.add("id_boolean", position)
        return str(value).upper()
    if isinstance(value, int | float | Decimal | np.number):
        return _id_from_number(cells, position, value)
    if isinstance(value, dt.date | dt.time | dt.timedelta):
        cells.add("id_date", position)
        return ""
    return tidy(str(value))


def _id_from_number(cells: Cells, position: int, value: Any) -> str:
    if not abs(value) < _MOST_ID:
        cells.add("id_digits", position)
        return ""
    if value != int(value):
        cells.add("id_fraction", position)
        return show(float(value))
    text = str(int(value))
    shown = cells.shown(position, float(value)) if cells.table.looks.any_padded else None
    if shown is not None and _DIGITS.fullmatch(shown) and shown != text:
        cells.note("id_shown", position)
        return shown
    cells.note("id_number", position)
    return text


def text_from_other(cells: Cells, position: int, value: Any) -> str:
    """Return a number, date or truth value as text; a VLAN id may well be a number, so nothing is reported."""
    if isinstance(value, bool | np.bool_):
        return str(value).upper()
    return show(float(value)) if isinstance(value, int | float | np.number) else show(value)


def release_from_other(cells: Cells, position: int, value: Any) -> str:
    """Return the release that a number stands for.

    8.10 and 8.1 are one number, so one with a fraction needs a number format that shows which was meant. A whole
    number can only have been written as it is, or with zeros that do not change the order (8 = 8.0).
    """
    if isinstance(value, dt.date | dt.time | dt.timedelta):
        cells.add("release_date", position)
        return ""
    if isinstance(value, bool | np.bool_) or not isinstance(value, int | float | Decimal | np.number):
        return text_from_other(cells, position, value)
    number = float(value)
    shown = cells.shown(position, number)
    if shown is not None and _VERSION.fullmatch(shown):
        cells.note("release_shown", position)
        return shown
    if not number.is_integer():
        cells.add("release_number", position)
        return ""
    cells.note("release_whole", position)
    return show(number)


def as_it_is(cells: Cells, position: int, text: str) -> str:
    """Return the text."""
    return text


def release(cells: Cells, position: int, text: str) -> str:
    """Return the text if it names a release that can be ordered; full-width and such forms as their plain ones."""
    if not text.isascii():
        folded = unicodedata.normalize("NFKC", text)
        if folded != text:
            cells.note("text_tidied", position)
        text = folded
    try:
        parse_release(text)
    except ValueError as error:
        cells.add("release_order", position, reason=error)
        return ""
    return text


def id_list(cells: Cells, position: int, text: str) -> tuple[str, ...]:
    """Return the entries between semicolons or line breaks, each once, in their order."""
    if "," in text and ";" not in text:
        cells.add("ids_comma", position)
    return tuple(dict.fromkeys(entry for part in re.split(r"[;\n]", text) if (entry := tidy(part))))


def choice(cells: Cells, position: int, text: str) -> str:
    """Return the choice that a text means, in any letter case, or a usual word for yes and no."""
    word, choices = re.sub(r"[\s-]+", "_", text.casefold()), cells.spec.choices
    if word in choices:
        return word
    truth = truth_of(unicodedata.normalize("NFKC", text).casefold()) if "yes" in choices else None
    if truth is not None:
        meant = "yes" if truth else "no"
        if word not in ENGLISH_TRUTHS:
            cells.note("choice_word", position, example=f"{show(text)} -> {meant}")
        return meant
    cells.add("choice_unknown", position, choices=", ".join(choices), guess=lambda: guess(word, choices))
    return ""


def timezone(cells: Cells, position: int, text: str) -> str:
    """Return the text if it is an IANA time zone."""
    try:
        ZoneInfo(text)
    except (ValueError, OSError, KeyError):
        cells.add("timezone_unknown", position, guess=lambda: _similar_timezone(text))
        return ""
    return text


@cache
def _timezones() -> list[str]:
    return sorted(available_timezones())


def _similar_timezone(text: str) -> str:
    return guess(text.replace(" ", "_"), _timezones())


def window(cells: Cells, position: int, text: str) -> str:
    """Return maintenance windows in their one way of writing."""
    try:
        return "; ".join(map(str, parse_windows(text)))
    except ValueError as error:
        cells.add("window_wrong", position, reason=error)
        return ""
