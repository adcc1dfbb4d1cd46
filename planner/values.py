"""Values of settings that come from Python, held against the table of columns as intake holds those of cells."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from planner.columns import Column, Kind
from planner.releases import parse_release
from planner.windows import parse_windows


class Unfit(ValueError):
    """A value that its column does not take; ``code`` is that of intake's finding."""

    def __init__(self, code: str, message: str) -> None:
        self.code = code
        super().__init__(message)


def fitting(column: Column, value: Any, default: Any) -> Any:
    """Return ``value`` as a plain Python value of the kind that ``column`` holds; `Unfit` where it is none.

    ``default`` is what the setting has when it is not given: None and ``""`` are taken where they are that. A choice of
    yes and no is True or False. NumPy numbers and dates are taken too.
    """
    if value is None and default is None:
        return None
    if isinstance(default, bool):
        return _truth(value)
    if column.kind in ("whole", "number"):
        return _number(column, value)
    if column.kind == "date":
        return _day(value)
    if not isinstance(value, str):
        raise Unfit("text_wanted", f"is {value!r}; it must be text.")
    if column.kind == "choice" and value not in column.choices:
        raise Unfit("choice_unknown", f"is {value!r}; it must be one of {', '.join(column.choices)}.")
    if value and column.kind in _READERS:
        _read(column.kind, value)
    return value


def _truth(value: Any) -> bool:
    if not isinstance(value, bool | np.bool_):
        raise Unfit("choice_unknown", f"is {value!r}; it must be True or False.")
    return bool(value)


def _number(column: Column, value: Any) -> float | int:
    if isinstance(value, bool | np.bool_) or not isinstance(value, int | float | np.integer | np.floating):
        raise Unfit("number_wanted", f"is {value!r}; it must be a number.")
    number = value.item() if isinstance(value, np.generic) else value
    if not math.isfinite(number):
        raise Unfit("number_infinite", f"is {number!r}; it must be a finite number.")
    if column.kind == "whole" and number != int(number):
        raise Unfit("whole_wanted", f"is {number!r}; it must be a whole number.")
    low = column.least is not None and (number <= column.least if column.least_excluded else number < column.least)
    if low or (column.highest is not None and number > column.highest):
        raise Unfit("number_limit", f"is {number!r}; it must be {column.limits}.")
    return int(number) if column.kind == "whole" else number


def _day(value: Any) -> str:
    if isinstance(value, dt.datetime):
        value = value.date()
    text = value.isoformat() if isinstance(value, dt.date) else value
    try:
        return dt.date.fromisoformat(text).isoformat() if text != "" else ""
    except (TypeError, ValueError):
        raise Unfit("date_wanted", f"is {value!r}; it must be a date, or text such as 2026-03-31.") from None


_READERS: dict[Kind, tuple[str, Callable[[str], object], str]] = {
    "release": ("release_order", parse_release, "version text such as 8.10"),
    "timezone": ("timezone_unknown", ZoneInfo, "an IANA time zone such as Europe/London"),
    "window": ("window_wrong", parse_windows, "windows such as Sun 22:00-04:00"),
}


def _read(kind: Kind, text: str) -> None:
    code, reader, wanted = _READERS[kind]
    try:
        reader(text)
    except (ValueError, OSError, KeyError):
        raise Unfit(code, f"is {text!r}; it must be {wanted}.") from None
