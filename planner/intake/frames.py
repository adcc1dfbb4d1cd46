"""pandas tables and a mapping of settings -> raw tables, so that they go through the same cleaning as files.

Cells are named as `DataFrame.to_excel` would lay them out: the header in row 1, a named index in the first columns.
"""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.columns import POLICY
from planner.fleet import Bools, Policy
from planner.intake.rawtable import RawTable, is_blank


def table_of_frame(title: str, frame: pd.DataFrame) -> RawTable:
    """Return a data frame as a raw table; rows that are blank throughout are left out."""
    if any(name is not None for name in frame.index.names):
        frame = frame.reset_index()
    columns = tuple(_cells(frame.iloc[:, position]) for position in range(frame.shape[1]))
    rows = np.arange(len(frame), dtype=np.int64) + 2
    table = RawTable("", title, tuple(frame.columns), columns, rows)
    blank = _blank_rows(columns, len(frame))
    return table.only(~blank) if blank.any() else table


def _blank_rows(columns: Sequence[npt.NDArray[Any]], rows: int) -> Bools:
    """Return which rows are blank throughout; each column is looked at only where those before it are blank."""
    blank = np.ones(rows, dtype=np.bool_)
    for column in columns:
        at = np.flatnonzero(blank)
        cells = column[at]
        blank[at] = pd.isna(cells) if cells.dtype != object else [is_blank(cell) for cell in cells]
    return blank


def _cells(series: "pd.Series[Any]") -> npt.NDArray[Any]:
    """Return a column as float64, datetime64[us], or Python values with ``""`` for what is missing."""
    if isinstance(series.dtype, np.dtype) and series.dtype.kind == "f":
        return series.to_numpy(dtype=np.float64)
    if isinstance(series.dtype, np.dtype) and series.dtype.kind == "M":
        return series.to_numpy().astype("datetime64[us]")
    values = series.astype(object).to_numpy(dtype=object, copy=True)
    missing = pd.isna(values)
    values[missing] = ""
    if {tuple, list} & set(map(type, values)):  # several ids, as in Fleet's own tables
        joined = [";".join(map(str, value)) if isinstance(value, tuple | list) else value for value in values]
        values[:] = joined
    return values


def table_of_policy(policy: Mapping[str, object] | Policy) -> RawTable:
    """Return settings as a raw table whose places are the names of the settings."""
    given = dataclasses.asdict(policy) if isinstance(policy, Policy) else policy
    names = np.array([*given, None], dtype=object)[:-1]
    values = np.array([*given.values(), None], dtype=object)[:-1]
    values[pd.isna(values)] = ""
    labels = tuple(f"policy[{name!r}]" for name in given)
    headers = tuple(column.name for column in POLICY.columns)
    return RawTable("", POLICY.name, headers, (names, values), np.arange(len(given)) + 1, labels=labels)
