"""What the cells of a column look like: whether they can be what a column should hold, or the ids of another sheet."""

import datetime as dt
import re
from collections.abc import Collection, Iterable, Sequence
from decimal import Decimal
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.columns import Column
from planner.intake.dates import is_date_text
from planner.intake.findings import show
from planner.intake.known_words import truth_of
from planner.intake.rawtable import broken, is_blank, tidy
from planner.releases import parse_release

_LOOKED_AT = 200  # cells from the top that have a value
_MOST = 0.8  # share of them that has to fit
_FEW = 0.5
_NUMBER = re.compile(r"[<~≈ ]*[+\-−]?[\d.,' \u2019]*\d\s*\S{0,8}")


def sample(cells: npt.NDArray[Any]) -> list[Any]:
    """Return the first values of a column that are neither blank nor broken."""
    found: list[Any] = []
    for value in cells.tolist():
        if value == value and not is_blank(value) and broken(value) is None:
            found.append(value)
            if len(found) == _LOOKED_AT:
                break
    return found


def fits(cells: npt.NDArray[Any], column: Column) -> bool:
    """Return whether the values of a column can be what ``column`` should hold; a blank column can be anything."""
    values = sample(cells)
    return fits_share(values, column) >= _MOST


def fits_share(values: Sequence[Any], column: Column) -> float:
    """Return the share of ``values`` that ``column`` could hold; 1 where there is none."""
    return sum(_fits(value, column) for value in values) / len(values) if values else 1.0


def _fits(value: Any, column: Column) -> bool:
    if column.kind in ("whole", "number"):
        return _is_number(value)
    if column.kind in ("date", "moment"):
        return isinstance(value, dt.date) or (isinstance(value, str) and is_date_text(value))
    if column.kind == "release":
        return not isinstance(value, dt.date) and _is_release(show(value) if not isinstance(value, str) else value)
    if column.kind == "choice":
        words = re.sub(r"[\s-]+", "_", tidy(str(value)).casefold())
        return words in column.choices or ("yes" in column.choices and truth_of(words) is not None)
    return True


def _is_number(value: Any) -> bool:
    if isinstance(value, str):
        return _NUMBER.fullmatch(tidy(value)[:60]) is not None
    return isinstance(value, int | float | Decimal | np.number) and not isinstance(value, bool | np.bool_)


def _is_release(text: str) -> bool:
    try:
        parse_release(text)
    except ValueError:
        return False
    return True


def identifies(cells: npt.NDArray[Any], ids: Collection[str], rivals: Iterable[Collection[str]]) -> bool:
    """Return whether most values are among ``ids``, and few among any of the ``rivals``."""
    values = [tidy(v) if isinstance(v, str) else show(v) for v in sample(cells)]
    if not values:
        return False
    shares = [sum(value in among for value in values) / len(values) for among in map(frozenset, (ids, *rivals))]
    return shares[0] >= _MOST and all(share <= _FEW for share in shares[1:])
