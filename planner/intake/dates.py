"""Cells that should hold a date, or a date with a time of day. Text is read only where it can mean one day."""

import datetime as dt
import re
from collections.abc import Iterable
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from planner.intake.calendar_words import month_of, without_weekday
from planner.intake.known_words import is_unknown
from planner.intake.rawtable import Cells, tidy

# Whole microseconds reach beyond the year 9999, which some write for "never".
_UNIT = "datetime64[us]"
# Earlier dates are a zero, or a small number, that was formatted as a date.
_EARLIEST = dt.datetime(1950, 1, 1)
# Day numbers count from here (XlsxWriter's documentation, Working with dates); the range is 1950 to 2099.
_DAY_NOUGHT = dt.datetime(1899, 12, 30)
_FIRST_DAY, _LAST_DAY = 18_264, 73_050

_CLOCK = r"(?:[ T,]+(\d{1,2}:\d{2}(?::\d{2})?))?"
_YEAR_LAST = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})" + _CLOCK, re.ASCII)
_YEAR_FIRST = re.compile(r"(\d{4})([./])(\d{1,2})\2(\d{1,2})" + _CLOCK, re.ASCII)
# Where years have two figures, points still stand between day, month and year; other signs may mean any order.
_SHORT_YEAR = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{2})" + _CLOCK, re.ASCII)
_WORD = r"([^\W\d_]{3,12})"
_DAY_NAMED = re.compile(
    rf"([0-9]{{1,2}})(?:st|nd|rd|th|er)?[ .-]*(?:de )?{_WORD}[ .,-]+(?:de )?([0-9]{{4}}|[0-9]{{2}})" + _CLOCK, re.I
)
_NAMED_DAY = re.compile(rf"{_WORD}[ .-]*([0-9]{{1,2}})(?:st|nd|rd|th)?[ ,-]+([0-9]{{4}})" + _CLOCK, re.I)
_SIGNED = re.compile(r"(\d{4})[年년]\s?(\d{1,2})[月월]\s?(\d{1,2})[日일]" + _CLOCK, re.ASCII)
_SERIAL = re.compile(r"\d{5}(?:[.,]\d+)?", re.ASCII)  # a day number in a file of text
_EIGHT_FIGURES = range(19500101, 21000101)  # a date without signs, as in 20270307
_LONGEST_TEXT = 40


class _Read(NamedTuple):
    """What a text means: one moment, or two when day and month may be the other way round."""

    day_first: dt.datetime | None
    month_first: dt.datetime | None
    plain: bool = False  # written as ISO 8601 wants it

    @property
    def certain(self) -> dt.datetime | None:
        both = {moment for moment in (self.day_first, self.month_first) if moment is not None}
        return both.pop() if len(both) == 1 else None


_NOTHING = _Read(None, None)


def is_date_text(text: str) -> bool:
    """Return whether a text is a date, also one whose day and month may be the other way round."""
    return _from_text(text) != _NOTHING


def order_of_texts(texts: Iterable[str]) -> tuple[str, bool]:
    """Return the order of day and month that ``texts`` leave no doubt of, and whether any of them needs it.

    The order is ``day first`` or ``month first``, and empty where they differ or none tells.
    """
    read = [_from_text(text) for text in texts]
    open_ones = any(r.certain is None and r != _NOTHING for r in read)
    return _order(read).replace("_", " "), open_ones


def moments(cells: Cells) -> npt.NDArray[np.datetime64]:
    """Return the column as datetime64, NaT where blank or wrong; a moment with an offset is turned into UTC.

    Where day and month of a text may be the other way round, the rest of the column decides, if it is of one mind.
    """
    if cells.values.dtype.kind == "M":
        return cells.values.astype(_UNIT)
    values = cells.objects()
    values = [_without_text(value) for value in values]
    texts = {position: _from_text(value) for position, value in enumerate(values) if type(value) is str and value}
    order = _order(list(texts.values())) or _pinned_order(cells)
    read = [
        None if value == "" else _moment(cells, position, value, texts.get(position), order)
        for position, value in enumerate(values)
    ]
    return np.array(read, dtype=_UNIT)


def dates(cells: Cells) -> npt.NDArray[np.datetime64]:
    """Return the column as datetime64 at midnight, NaT where blank or wrong."""
    read = moments(cells)
    days = read.astype("datetime64[D]").astype(_UNIT)
    for position in np.flatnonzero(read != days).tolist():
        if not np.isnat(read[position]):
            cells.note("date_time", position)
    return days


def _order(texts: list[_Read]) -> str:
    """Return the order of the dates that leave no doubt; empty if they differ, or there is none."""
    only = {
        "day_first" if read.month_first is None else "month_first"
        for read in texts
        if not read.plain and (read.day_first is None) != (read.month_first is None)
    }
    return only.pop() if len(only) == 1 else ""


def _pinned_order(cells: Cells) -> str:
    """Return the order that a mapping states of the dates of the table; empty if it states none."""
    pins = cells.table.pins
    return "" if pins is None else pins.dates.replace(" ", "_")


def _moment(cells: Cells, position: int, value: Any, text: _Read | None, order: str) -> dt.datetime | None:
    if text is not None:
        moment = _chosen(cells, position, value, text, order)
        if moment is None:
            return None
    elif isinstance(value, int | float) and not isinstance(value, bool) and _FIRST_DAY <= value <= _LAST_DAY:
        moment = _DAY_NOUGHT + dt.timedelta(seconds=round(float(value) * 86_400))
        cells.note("date_serial", position, example=moment.date())
    else:
        moment = _of_cell(value)
    if moment is None or moment < _EARLIEST:
        cells.add("date_wanted", position)
        return None
    return moment


def _chosen(cells: Cells, position: int, value: str, text: _Read, order: str) -> dt.datetime | None:
    """Return the moment that a text means, with a finding if it is not written as ISO 8601 wants it."""
    words = tidy(value)
    if not words:
        return None
    if is_unknown(words):
        cells.note("value_unknown", position)
        return None
    if text.certain is not None:
        if not text.plain:
            cells.note("date_text", position, example=f"{words} -> {text.certain.date()}")
        return text.certain
    if text == _NOTHING:
        cells.add("date_wanted", position)
        return None
    chosen: dt.datetime | None = getattr(text, order) if order else None
    if chosen is None:
        both = (text.day_first, text.month_first)
        cells.add("date_ambiguous", position, candidates=" or ".join(str(m.date()) for m in both if m is not None))
    else:
        cells.note("date_order", position, example=f"{words} -> {chosen.date()}")
    return chosen


def _from_text(text: str) -> _Read:
    text = without_weekday(tidy(text))
    if len(text) > _LONGEST_TEXT:
        return _NOTHING
    try:
        moment = _of_cell(dt.datetime.fromisoformat(text))
        return _Read(moment, moment, plain=True)
    except ValueError:
        pass
    if match := _YEAR_LAST.fullmatch(text):
        first, sign, second, year, clock = match.groups()
        month_first = None if sign == "." else _date(year, first, second, clock)
        return _Read(_date(year, second, first, clock), month_first)
    if match := _YEAR_FIRST.fullmatch(text):
        year, _, month, day, clock = match.groups()
    elif match := _SIGNED.fullmatch(text):
        year, month, day, clock = match.groups()
    elif match := _SHORT_YEAR.fullmatch(text):
        day, month, year, clock = match.groups()
        year = f"20{year}"
    elif match := _DAY_NAMED.fullmatch(text):  # 03-Mar-27 is how spreadsheets show a day where English is spoken
        day, month, year, clock = match.groups()
        year = year if len(year) == 4 else f"20{year}"
    elif match := _NAMED_DAY.fullmatch(text):
        month, day, year, clock = match.groups()
    else:
        return _NOTHING
    moment = _date(year, month, day, clock)
    return _Read(moment, moment)


def _date(year: str, month: str, day: str, clock: str | None) -> dt.datetime | None:
    if not month.isdecimal():
        named = month_of(month)
        if named is None:
            return None
        month = str(named)
    hours, minutes, seconds = ([*map(int, clock.split(":")), 0, 0] if clock else [0, 0, 0])[:3]
    try:
        return dt.datetime(int(year), int(month), int(day), hours, minutes, seconds)
    except ValueError:
        return None


def _without_text(value: Any) -> Any:
    """Return a day number, or a date of eight figures, as what it is: files of text have the one, cells the other."""
    if type(value) is str and _SERIAL.fullmatch(value.strip()):
        number = float(value.strip().replace(",", "."))
        return number if _FIRST_DAY <= number <= _LAST_DAY else value
    return str(int(value)) if type(value) in (int, float) and value in _EIGHT_FIGURES else value


def _of_cell(value: Any) -> dt.datetime | None:
    if isinstance(value, dt.datetime):
        return value if value.tzinfo is None else value.astimezone(dt.UTC).replace(tzinfo=None)
    return dt.datetime.combine(value, dt.time()) if isinstance(value, dt.date) else None
