"""Tables with the types that their sheets ask for."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from planner.columns import Kind, Sheet

_NUMBERS: frozenset[Kind] = frozenset({"whole", "number"})
_DATES: frozenset[Kind] = frozenset({"date", "moment"})


def typed_table(sheet: Sheet, values: Mapping[str, Any], rows: int | None = None) -> pd.DataFrame:
    """Return a table with every column of ``sheet``, blanks where ``values`` has no such column.

    Text blanks are ``""``, numbers and whole numbers float64 with NaN, dates datetime64 with NaT,
    id lists tuples. Columns of ``values`` that the sheet does not know follow as they are. Nothing
    is validated: that is intake's work.
    """
    if rows is None:
        rows = len(next(iter(values.values()))) if values else 0
    return _built(sheet, values, rows) if values or rows else _empty(sheet).copy()


@functools.cache
def _empty(sheet: Sheet) -> pd.DataFrame:
    """Return the table of a sheet that is not there, which most sheets of most fleets are not."""
    return _built(sheet, {}, 0)


def _built(sheet: Sheet, values: Mapping[str, Any], rows: int) -> pd.DataFrame:
    index = pd.RangeIndex(rows)  # one for all columns: pandas would compare theirs, which takes half of the time
    table: dict[str, Any] = {}
    for column in sheet.columns:
        given = values.get(column.name)
        if column.kind in _NUMBERS:
            table[column.name] = np.full(rows, np.nan) if given is None else np.asarray(given, dtype=np.float64)
        elif column.kind in _DATES:
            dates = pd.Series([None] * rows if given is None else list(given), index)
            table[column.name] = pd.to_datetime(dates).astype("datetime64[us]")
        elif column.kind == "ids":
            table[column.name] = pd.Series([()] * rows if given is None else list(given), index, dtype=object)
        elif given is None:
            table[column.name] = pd.Series([""] * rows, index, dtype=object)
        elif isinstance(given, pd.Categorical):
            table[column.name] = given
        else:
            table[column.name] = pd.Series(list(given), index, dtype=object)
    table.update({name: pd.Series(list(given), index) for name, given in values.items() if name not in table})
    return pd.DataFrame(table, index)


def same_table(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    """Say whether two tables have the same columns, in any order, and the same cells, however text is stored."""
    if set(one) != set(other) or len(one) != len(other):
        return False
    one, other = one.reset_index(drop=True), other.reset_index(drop=True)[list(one)]
    return bool(one.equals(other)) or bool(one.astype(object).equals(other.astype(object)))
