"""Rows as CSV, so that a long run can be made in parts and lines up in one table."""

from __future__ import annotations

import csv
import dataclasses
import io
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from tests.benchmarks.runs import Row

_TYPES = {field.name: str(field.type) for field in dataclasses.fields(Row)}


def as_csv(rows: Iterable[Row]) -> str:
    """Return the rows as CSV with a header; blank where not known."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_TYPES)
    writer.writerows([getattr(row, name) for name in _TYPES] for row in rows)
    return text.getvalue()


def read_rows(path: Path) -> list[Row]:
    """Return the rows of a CSV of `as_csv`; none if there is no such file."""
    if not path.exists():
        return []
    with path.open(newline="") as file:
        return [Row(**{name: _value(name, text) for name, text in line.items()}) for line in csv.DictReader(file)]


def _value(name: str, text: str) -> Any:
    match _TYPES[name]:
        case "str":
            return text
        case "int":
            return int(text)
        case "bool":
            return text == "True"
        case _:
            return float(text) if text else None


def merged(before: Iterable[Row], row: Row) -> list[Row]:
    """Return the rows with ``row`` in place of an earlier one of the same engine and instance, else at the end."""
    rows = {(one.set, one.instance, one.engine): one for one in (*before, row)}
    return list(rows.values())
