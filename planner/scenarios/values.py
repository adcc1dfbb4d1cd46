"""Values that scenarios set: texts read by the same cleaning as a fleet's cells, or relative to what is there.

A relative value is ``x1.5`` (times), ``+5`` or ``-5`` (added). Where it makes a whole number fractional it is rounded
so that the plan stays on the safe side: clusters up, everything else down.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from typing import Any

import numpy as np

from planner.columns import Column
from planner.fleet import Floats
from planner.intake.cells import clean
from planner.intake.findings import Findings
from planner.intake.rawtable import Cells, RawTable

_RELATIVE = re.compile(r"(?P<sign>[x+-])(?P<number>\d+(?:\.\d+)?)")
_RANGE = re.compile(r"(?P<sign>[x+-]?)(?P<first>[\d.]+):(?P<last>[\d.]+):(?P<step>[\d.]+)")
_NUMERIC = ("whole", "number")
_MOST_STEPS = 10_000
_ROUNDED_UP = frozenset({"clusters"})


def numeric(column: Column) -> bool:
    """Say whether the column holds numbers."""
    return column.kind in _NUMERIC


def expand(text: str) -> list[str]:
    """Return the single values of a list such as ``20:80:5`` (both ends included), ``none,hub`` or ``x0.8:1.2:0.1``.

    Steps are decimal, so that 0.1 + 0.2 is 0.3. Raises ValueError for a range that has no end or is too long.

    >>> expand("20:30:5,50")
    ['20', '25', '30', '50']
    >>> expand("x0.8:1:0.1")
    ['x0.8', 'x0.9', 'x1']
    """
    values: list[str] = []
    for part in text.split(","):
        match = _RANGE.fullmatch(part.strip())
        values.extend(_steps(part.strip(), match) if match else [part.strip()])
    return list(dict.fromkeys(values))


def _steps(part: str, match: re.Match[str]) -> list[str]:
    try:
        first, last, step = (Decimal(match[name]) for name in ("first", "last", "step"))
    except ArithmeticError:
        raise ValueError(f"{part} is not a range of numbers; write it as first:last:step, such as 20:80:5") from None
    if step <= 0 or last < first:
        raise ValueError(f"{part} never ends; write it as first:last:step with a step above 0, such as 20:80:5")
    count = int((last - first) / step) + 1
    if count > _MOST_STEPS:
        raise ValueError(f"{part} has {count:,} steps; take larger ones")
    return [match["sign"] + f"{(first + i * step).normalize():f}" for i in range(count)]


def is_relative(column: Column, text: str) -> bool:
    """Say whether ``text`` changes a number instead of stating it."""
    return numeric(column) and _RELATIVE.fullmatch(text) is not None


def read_value(column: Column, text: str, label: str, findings: Findings) -> Any:
    """Return the value that ``text`` states for ``column``: float, str or tuple; NaN or ``""`` for a blank.

    What is wrong becomes a finding at ``label``.
    """
    cells = np.array([text, None], dtype=object)[:1]
    table = RawTable("", "", (column.name,), (cells,), np.array([1]), text_only=True, labels=(label,))
    return clean(Cells(column, table, 0, findings))[0]


def changed_numbers(column: Column, text: str, before: Floats) -> Floats:
    """Return ``before`` changed by the relative value ``text``, within the limits of ``column``; NaN stays NaN.

    >>> changed_numbers(Column("cluster_cap", "whole", "", least=1), "x1.5", np.array([33.0, np.nan])).tolist()
    [49.0, nan]
    """
    match = _RELATIVE.fullmatch(text)
    assert match is not None  # callers ask is_relative first
    number = float(match["number"])
    after = before * number if match["sign"] == "x" else before + (number if match["sign"] == "+" else -number)
    if column.kind == "whole":
        # The tiny addend keeps 50 * 1.1 = 55.000000000000006 from becoming 56.
        after = np.ceil(after - 1e-9) if column.name in _ROUNDED_UP else np.floor(after + 1e-9)
    least = -math.inf if column.least is None else column.least + (1e-9 if column.least_excluded else 0.0)
    return np.clip(after, least, math.inf if column.highest is None else column.highest)
