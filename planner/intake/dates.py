"""Cells that should hold a date, or a date with a time of day."""

import datetime as dt
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.intake.rawtable import Cells, tidy

# Whole microseconds reach beyond the year 9999, which some write for "never".
_UNIT = "datetime64[us]"
# Earlier dates are a zero, or a small number, that was formatted as a date.
_EARLIEST = dt.datetime(1950, 1, 1)


def moments(cells: Cells) -> npt.NDArray[np.datetime64]:
    """Return the column as datetime64, NaT where blank or wrong; a moment with an offset is turned into UTC."""
    if cells.values.dtype.kind == "M":
        return cells.values.astype(_UNIT)
    read = [None if value == "" else _moment(cells, position, value) for position, value in enumerate(cells.objects())]
    return np.array(read, dtype=_UNIT)


def dates(cells: Cells) -> npt.NDArray[np.datetime64]:
    """Return the column as datetime64 at midnight, NaT where blank or wrong."""
    read = moments(cells)
    days = read.astype("datetime64[D]").astype(_UNIT)
    for position in np.flatnonzero(read != days).tolist():
        if not np.isnat(read[position]):
            cells.note("date_time", position)
    return days


def _moment(cells: Cells, position: int, value: Any) -> dt.datetime | None:
    if isinstance(value, str) and not tidy(value):
        return None
    moment = _parsed(value)
    if moment is None or moment < _EARLIEST:
        cells.add("date_wanted", position)
        return None
    return moment


def _parsed(value: Any) -> dt.datetime | None:
    if isinstance(value, str):
        try:
            value = dt.datetime.fromisoformat(tidy(value))
        except ValueError:
            return None
    if isinstance(value, dt.datetime):
        return value if value.tzinfo is None else value.astimezone(dt.UTC).replace(tzinfo=None)
    return dt.datetime.combine(value, dt.time()) if isinstance(value, dt.date) else None
