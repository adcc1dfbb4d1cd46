"""Cells that should hold a number. Text is read only where it can mean one number."""

import datetime as dt
import math
import re
from decimal import Decimal
from typing import Any

import numpy as np

from planner.fleet import Floats
from planner.intake.findings import show
from planner.intake.rawtable import Cells
from planner.intake.units import Stated
from planner.intake.written import Read, read_number

_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
# Findings about a text that sum up, those about it singly, and what a message shows as an example.
_NOTED_CODES = """number_text number_script number_comma number_bound number_about number_noun value_unknown
word_unknown
no_answer unreachable"""
_NOTED = frozenset(_NOTED_CODES.split())
_CONVERTED = frozenset({"unit_in_cell", "way_in_cell"})
_DIGITS_KEPT = 9  # after a conversion, which leaves binary dust


def numbers(cells: Cells) -> Floats:
    """Return the column as floats, NaN where blank or wrong, within the limits of its specification.

    What the header states of unit and direction is applied, but for cells that state their own.
    """
    factor = cells.stated.factor(cells.spec)
    result = cells.values.copy() if cells.values.dtype.kind == "f" else _floats(cells)
    if factor != 1.0:
        result = np.round(result * factor, _DIGITS_KEPT)
    else:
        _as_percentages_show(cells, result)
    if cells.values.dtype.kind != "f":
        _read_others(cells, result, factor)
    if cells.spec.kind == "whole":
        _reject(cells, result, np.isfinite(result) & (result != np.round(result)), "whole_wanted")
    _reject(cells, result, np.isinf(result), "number_infinite")
    _reject(cells, result, _beyond_limits(cells, result), "number_limit", limits=cells.spec.limits)
    return result


def _floats(cells: Cells) -> Floats:
    values = cells.objects()
    return np.array([value if type(value) is float else math.nan for value in values], dtype=np.float64)


def _read_others(cells: Cells, result: Floats, factor: float) -> None:
    """Read, in place, the cells that do not hold a float: text, mostly."""
    values = cells.objects()
    if set(map(type, values)) <= {float}:
        return
    doubtful: list[tuple[int, str, Read]] = []
    three_decimals: list[int] = []
    styles: set[str] = set()
    for position, value in enumerate(values):
        if type(value) is float or value == "":
            continue
        if cells.table.text_only and _PLAIN.fullmatch(value):  # nothing to report, so half a million of them are quick
            result[position] = _scaled(float(value), factor)
            if value[-4:-3] == ".":
                three_decimals.append(position)
            elif "." in value:
                styles.add("point")
            continue
        if isinstance(value, str):
            read = _read_text(cells, value)
            styles.add(read.style)
            if read.other is not None:
                doubtful.append((position, value, read))
            else:
                result[position] = _taken(cells, position, value, read, factor)
        else:
            result[position] = _scaled(_from_other(cells, position, value), factor)
    signs = styles & {"comma", "point"}
    style = signs.pop() if len(signs) == 1 else ""
    if style == "comma" or cells.spec.kind == "whole":
        doubtful += (
            (position, values[position], read_number(values[position], cells.spec)) for position in three_decimals
        )
    for position, value, read in doubtful:
        if read.other is None:
            continue  # 0.123 can only have decimals
        result[position] = _settled(cells, position, value, read, factor, style)


def _read_text(cells: Cells, text: str) -> Read:
    """Return what a text means; among the times of an adopted table one without a digit means "not measured"."""
    read = read_number(text, cells.spec)
    pins = cells.table.pins
    adopted = pins is not None and pins.only and cells.spec.name == "rtt_ms"
    if adopted and read.codes == ("number_wanted",) and not any(c.isdigit() for c in text):
        return Read(math.nan, ("word_unknown",))
    return read


def _scaled(value: float, factor: float) -> float:
    return value if factor == 1.0 else round(value * factor, _DIGITS_KEPT)


def _from_other(cells: Cells, position: int, value: Any) -> float:
    """Return the number that a cell other than a float or a text means; NaN if it is wrong."""
    if isinstance(value, int | Decimal | np.number) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError:
            return math.inf
    is_time = isinstance(value, dt.date | dt.time | dt.timedelta)
    cells.add("number_date" if is_time else "number_wanted", position)
    return math.nan


def _settled(cells: Cells, position: int, text: str, read: Read, factor: float, style: str) -> float:
    """Return which of its two meanings a text such as 1,234 or 1.234 has, by the kind and the rest of the column."""
    has_comma = "number_ambiguous" in read.codes
    assert read.other is not None
    others = tuple(code for code in read.codes if code not in ("number_ambiguous", "number_text"))
    if cells.spec.kind == "whole" or (style == "point" if has_comma else style == "comma"):
        return _taken(cells, position, text, Read(read.other, (*others, "number_comma"), read.stated), factor)
    if has_comma and style == "comma":
        return _taken(cells, position, text, Read(read.value, (*others, "number_comma"), read.stated), factor)
    if has_comma:
        cells.add("number_ambiguous", position, as_decimal=show(read.value), as_thousands=show(read.other))
        return math.nan
    return _taken(cells, position, text, read, factor)


def _taken(cells: Cells, position: int, text: str, read: Read, factor: float) -> float:
    """Return the value of a text that has one meaning, with the findings about it."""
    said = cells.stated
    stated = Stated(read.stated.unit or said.unit, read.stated.way or said.way)
    value = _scaled(read.value, stated.factor(cells.spec) if stated != said else factor)
    if "number_beyond" in read.codes:
        if cells.beyond is None or value != value:
            cells.add("number_beyond", position)
        else:
            cells.beyond[position] = value
        return math.nan
    codes = [code for code in read.codes if code != "number_text" or not cells.table.text_only]
    if read.stated.way and Stated(None, stated.way).factor(cells.spec) != 1.0:
        codes.append("way_in_cell")
    elif read.stated.unit is not None and Stated(read.stated.unit).factor(cells.spec) != 1.0:
        codes.append("unit_in_cell")
    if len(codes) > 1 and "number_text" in codes:
        codes.remove("number_text")
    for code in codes:
        if code in _NOTED or code in _CONVERTED:
            cells.note(code, position, example=lambda: f"{show(text)} -> {show(value)}")
        else:
            cells.add(code, position)
    return value


def _as_percentages_show(cells: Cells, result: Floats) -> None:
    """Multiply by 100, in place, where a percentage format did the opposite: 5 % is stored as 0.05."""
    if cells.spec.unit != "%" or not cells.table.looks.any_percent:
        return
    for position in np.flatnonzero(np.nan_to_num(result)).tolist():
        is_number = not isinstance(cells.values[position], str)
        if is_number and cells.table.looks.percent(int(cells.table.rows[position]), cells.index + 1):
            result[position] = round(result[position] * 100.0, 9)
            cells.note("percent_shown", position)


def _beyond_limits(cells: Cells, result: Floats) -> np.ndarray[Any, np.dtype[np.bool_]]:
    spec = cells.spec
    wrong = np.zeros(len(result), dtype=np.bool_)
    if spec.least is not None:
        wrong |= result <= spec.least if spec.least_excluded else result < spec.least
    if spec.highest is not None:
        wrong |= result > spec.highest
    return wrong


def _reject(
    cells: Cells, result: Floats, wrong: np.ndarray[Any, np.dtype[np.bool_]], code: str, **words: object
) -> None:
    """Make a finding of each wrong number and blank it, in place."""
    for position in np.flatnonzero(wrong).tolist():
        cells.add(code, position, **words)
        result[position] = np.nan
