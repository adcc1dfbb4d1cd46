"""Cells that should hold a number. Text is read only where it can mean one number."""

import datetime as dt
import math
import re
from decimal import Decimal
from typing import Any, NamedTuple

import numpy as np

from planner.fleet import Floats
from planner.intake.findings import show
from planner.intake.rawtable import Cells, tidy

# Beyond it a whole number is a slip of the keyboard, and sums of them might overflow.
_MOST_WHOLE = 1_000_000_000

_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_DECIMAL_COMMA = re.compile(r"([+-]?)(\d+),(\d+)")
_GROUPED_COMMA = re.compile(r"[+-]?\d{1,3}((,\d{3})+\.\d+|(,\d{3}){2,}(\.\d*)?)")
_GROUPED_POINT = re.compile(r"[+-]?\d{1,3}((\.\d{3})+,\d+|(\.\d{3}){2,}(,\d*)?)")
_BLANK_BETWEEN_DIGITS = re.compile(r"(?<=\d) (?=\d{3}(\D|$))")
_NOT_FINITE = frozenset({"nan", "inf", "+inf", "-inf", "infinity", "-infinity", "∞"})


class _Read(NamedTuple):
    """What a text means as a number: ``code`` is the finding to make, empty when there is nothing to say."""

    value: float
    code: str = ""


def numbers(cells: Cells) -> Floats:
    """Return the column as floats, NaN where blank or wrong, within the limits of its specification."""
    result = cells.values.copy() if cells.values.dtype.kind == "f" else _converted(cells)
    _as_percentages_show(cells, result)
    if cells.spec.kind == "whole":
        _reject(cells, result, np.isfinite(result) & (result != np.round(result)), "whole_wanted")
    _reject(cells, result, np.isinf(result), "number_infinite")
    _reject(cells, result, _beyond_limits(cells, result), "number_limit", limits=limits_text(cells))
    return result


def _converted(cells: Cells) -> Floats:
    values = cells.objects()
    if set(map(type, values)) <= {float}:
        return np.array(values, dtype=np.float64)
    result = np.array([value if type(value) is float else math.nan for value in values], dtype=np.float64)
    for position, value in enumerate(values):
        if type(value) is float or value == "":
            continue
        if cells.table.text_only and _PLAIN.fullmatch(value):  # nothing to report, so half a million of them are quick
            result[position] = float(value)
        else:
            result[position] = _from_other(cells, position, value)
    return result


def _from_other(cells: Cells, position: int, value: Any) -> float:
    """Return the number that a cell other than a float means; NaN if it is blank or wrong."""
    if isinstance(value, str):
        return _note_text(cells, position, value)
    if isinstance(value, int | Decimal | np.number) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError:
            return math.inf
    is_time = isinstance(value, dt.date | dt.time | dt.timedelta)
    cells.add("number_date" if is_time else "number_wanted", position)
    return math.nan


def _note_text(cells: Cells, position: int, text: str) -> float:
    value, code = _from_text(text, cells.spec.unit)
    if code == "number_comma":
        cells.note(code, position, example=lambda: f"{show(text)} -> {show(value)}")
    elif code == "number_text" and not cells.table.text_only:
        cells.note(code, position)
    elif code == "number_ambiguous":
        cells.add(code, position, as_decimal=text.replace(",", "."), as_thousands=text.replace(",", ""))
    elif code and code != "number_text":
        cells.add(code, position)
    return value


def _from_text(text: str, unit: str) -> _Read:
    if not tidy(text):
        return _Read(math.nan)
    bare = _BLANK_BETWEEN_DIGITS.sub("", _without_unit(tidy(text), unit))
    if _PLAIN.fullmatch(bare):
        return _Read(float(bare), "number_text")
    if bare.casefold() in _NOT_FINITE:
        return _Read(math.nan, "number_infinite")
    comma = _DECIMAL_COMMA.fullmatch(bare)
    if comma and len(comma[3]) == 3 and len(comma[2]) <= 3 and not comma[2].startswith("0"):
        return _Read(math.nan, "number_ambiguous")  # 1,234: a decimal comma or a thousands separator
    if comma:
        return _Read(float(bare.replace(",", ".")), "number_comma")
    if _GROUPED_COMMA.fullmatch(bare):
        return _Read(float(bare.replace(",", "")), "number_comma")
    if _GROUPED_POINT.fullmatch(bare):
        return _Read(float(bare.replace(".", "").replace(",", ".")), "number_comma")
    return _Read(math.nan, "number_wanted")


def _without_unit(text: str, unit: str) -> str:
    """Return ``text`` without the column's own unit behind the number, as in ``18.4 ms``."""
    short = unit.split(",")[0]
    if short and text.casefold().endswith(short.casefold()):
        return text[: -len(short)].rstrip()
    return text


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
    most = _most(cells)
    if most is not None:
        wrong |= result > most
    return wrong


def limits_text(cells: Cells) -> str:
    """Return the limits of a column in words, such as ``above 0 and at most 60000 ms``."""
    spec = cells.spec
    least = "" if spec.least is None else f"{'above' if spec.least_excluded else 'at least'} {show(float(spec.least))}"
    highest = _most(cells)
    most = "" if highest is None else f"at most {show(float(highest))}"
    return f"{' and '.join(part for part in (least, most) if part)} {spec.unit}".strip()


def _most(cells: Cells) -> float | None:
    return _MOST_WHOLE if cells.spec.most is None and cells.spec.kind == "whole" else cells.spec.most


def _reject(
    cells: Cells, result: Floats, wrong: np.ndarray[Any, np.dtype[np.bool_]], code: str, **words: object
) -> None:
    """Make a finding of each wrong number and blank it, in place."""
    for position in np.flatnonzero(wrong).tolist():
        cells.add(code, position, **words)
        result[position] = np.nan
