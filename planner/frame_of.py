"""Records as a DataFrame: a column for each field, of the type that the field says, also where there are no rows."""

from __future__ import annotations

import dataclasses
import datetime as dt
import typing
from collections.abc import Iterable, Sequence
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin

import pandas as pd


class TableOf:
    """An attribute of a noun: one of its lists as a DataFrame, made anew whenever it is asked for.

    ``records`` names the list, a field or property of type ``tuple[Kind, ...]`` with dataclasses of that kind. Columns
    are their fields, apart from ``leave_out``, and then their properties ``more``; see `frame_of`.
    """

    def __init__(self, records: str, *more: str, leave_out: Sequence[str] = ()) -> None:
        self._records, self._more, self._leave_out = records, more, tuple(leave_out)
        self.__doc__ = f"`{records}` as a DataFrame, one row for each."

    def __get__(self, noun: Any, owner: type[Any]) -> pd.DataFrame:
        if noun is None:
            return self  # type: ignore[return-value]  # the class is asked, as by help()
        kind, *_ = get_args(hint_of(owner, self._records))
        return frame_of(kind, getattr(noun, self._records), self._leave_out, self._more)


def frame_of(
    kind: type[Any], records: Iterable[Any], leave_out: Sequence[str] = (), more: Sequence[str] = ()
) -> pd.DataFrame:
    """Return a row for each of ``records``, dataclasses of ``kind``, and a column for each field but ``leave_out``.

    Properties named in ``more`` follow. Whole numbers are int64 (Int64 where they may be missing), numbers float64 with
    NaN, days and moments datetime64 (moments in UTC), lists text with "; " between entries.
    """
    rows = list(records)
    names = [field.name for field in dataclasses.fields(kind) if field.name not in leave_out]
    return pd.DataFrame(
        {name: column([getattr(row, name) for row in rows], hint_of(kind, name)) for name in (*names, *more)}
    )


def hint_of(kind: type[Any], name: str) -> Any:
    """Return the type of a field or property."""
    found = getattr(kind, name, None)
    if isinstance(found, property):
        return typing.get_type_hints(found.fget)["return"]
    return typing.get_type_hints(kind)[name]


def column(values: list[Any], hint: Any) -> pd.Series[Any]:
    """Return ``values`` as a column of the type ``hint``."""
    options = set(get_args(hint)) if get_origin(hint) in (Union, UnionType) else {hint}
    missing = NoneType in options
    kind = next(iter(options - {NoneType}))
    if kind is bool:
        return pd.Series(values, dtype="boolean" if missing else "bool")
    if kind is int:
        return pd.Series(values, dtype="Int64" if missing else "int64")
    if kind is float:
        return pd.Series(values, dtype="float64")
    if kind in (dt.datetime, dt.date):
        moments = pd.to_datetime(pd.Series(values, dtype=object), utc=kind is dt.datetime)
        return moments.dt.as_unit("us")
    text = pd.Series([""]).dtype  # that of text in this version of pandas
    return pd.Series([_text(value) for value in values], dtype=text)


def _text(value: Any) -> str | None:
    if isinstance(value, tuple | list):
        return "; ".join(map(str, value))
    return None if value is None else str(value)
