"""Rows of pairs of a site and a hub with their cells, and what lists and matrices of times have in common."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from planner.columns import LATENCY, SAMPLES
from planner.fleet import Bools, Floats, Ints
from planner.intake.findings import Findings, Place
from planner.intake.ids import KnownIds
from planner.intake.names import column_of, stated_by
from planner.intake.rawtable import RawTable

# So few times tell nothing about their unit.
_ENOUGH = 3


@dataclass(frozen=True)
class PairRows:
    """Rows of pairs: positions of site and hub, and the row and column, from 0, of the raw table they come from."""

    raw: RawTable
    frame: pd.DataFrame
    site: Ints
    hub: Ints
    row: Ints
    column: Ints
    turned: Bools | None = None  # rows that came from the other end of the path

    def place(self, position: int) -> Place:
        """Return the cell of a pair's round-trip time."""
        return self.raw.place(int(self.row[position]), int(self.column[position]))

    def only(self, keep: npt.NDArray[np.bool_]) -> "PairRows":
        """Return a copy with the rows that the mask ``keep`` selects."""
        frame = self.frame if keep.all() else self.frame[keep].reset_index(drop=True)
        turned = None if self.turned is None else self.turned[keep]
        return PairRows(self.raw, frame, self.site[keep], self.hub[keep], self.row[keep], self.column[keep], turned)


def doubt_unit(table: RawTable, index: int, rtt_ms: Floats, findings: Findings) -> None:
    """Ask whether times are seconds where no header says that they are ms and all are below 1."""
    given = rtt_ms[~np.isnan(rtt_ms)]
    header = table.headers[index] if column_of(table.headers[index], LATENCY) is not None else ""
    if len(given) >= _ENOUGH and given.max() < 1.0 and stated_by(header).unit is None:
        findings.add("unit_doubtful", table.header_place(index), "rtt_ms", most=f"{given.max():g}")


def with_plain_numbers(table: RawTable, indices: Iterable[int]) -> RawTable:
    """Return the table in which columns of nothing but numbers and blanks are arrays of floats, NaN where blank."""
    columns = list(table.columns)
    for index in indices:
        columns[index] = _plain_numbers(columns[index])
    return replace(table, columns=tuple(columns))


def _plain_numbers(column: npt.NDArray[Any]) -> npt.NDArray[Any]:
    if column.dtype != object:
        return column
    blank: Bools = np.array(column == "", dtype=np.bool_)
    given = column[~blank].tolist()
    if set(map(type, given)) != {float}:
        return column
    numbers: Floats = np.full(len(column), np.nan)
    numbers[~blank] = given
    return numbers


def without_zeros(table: RawTable, index: int, is_here: Callable[[int], bool], findings: Findings) -> RawTable:
    """Return the table with zeros among the round-trip times of a column as blanks, each a finding.

    ``is_here`` says of a row, from 0, whether its site and hub are one place.
    """
    zeros = _zeros(table.columns[index])
    if not zeros.any():
        return table
    for position in np.flatnonzero(zeros).tolist():
        findings.note("rtt_to_itself" if is_here(position) else "rtt_zero", table.place(position, index), "rtt_ms")
    column = table.columns[index].copy()
    column[zeros] = np.nan if column.dtype.kind == "f" else ""
    return replace(table, columns=(*table.columns[:index], column, *table.columns[index + 1 :]))


def _zeros(column: npt.NDArray[Any]) -> Bools:
    if column.dtype.kind == "f":
        zero: Bools = column == 0.0
        return zero
    if column.dtype != object:
        return np.zeros(len(column), dtype=np.bool_)
    values = column.tolist()
    if set(map(type, values)) <= {float, int} and 0 not in values:  # almost every column
        return np.zeros(len(column), dtype=np.bool_)
    return np.array([_is_zero(value) for value in values], dtype=np.bool_)


def _is_zero(value: object) -> bool:
    if type(value) is float or type(value) is int:
        return value == 0
    return type(value) is str and value[:1] == "0" and not value.strip("0.,")


def categories(codes: Ints, known: KnownIds) -> pd.Categorical:
    """Return positions among ``known`` ids as a column of these ids."""
    return pd.Categorical.from_codes(codes, categories=pd.Index(known.ids, dtype=object))


def settled(rows: PairRows, budgets_ms: Floats, findings: Findings) -> PairRows:
    """Return the rows with times that only exceed a figure, held as its negative, as infinite or as not known.

    Where the figure is not below the site's budget (position by position in ``budgets_ms``), no true value keeps it:
    infinite, as lost probes are. Where the budget is larger, the true value may keep it or not.
    """
    rtt_ms = rows.frame["rtt_ms"].to_numpy(dtype=np.float64)
    bounded = rtt_ms < 0
    if not bounded.any():
        return rows
    budgets = budgets_ms[rows.site]
    beyond = bounded & (-rtt_ms >= np.nan_to_num(budgets, nan=np.inf))
    for code, mask in (("rtt_beyond", beyond), ("rtt_beyond_question", bounded & ~beyond)):
        for position in np.flatnonzero(mask).tolist():
            words = {"bound": f"{-rtt_ms[position]:g}", "budget": f"{budgets[position]:g}"}
            findings.note(code, rows.place(position), "rtt_ms", **words)
    figures = np.where(beyond, np.inf, np.where(bounded, np.nan, rtt_ms))
    return replace(rows, frame=rows.frame.assign(rtt_ms=figures))


def joined(sheet: PairRows | None, pings: PairRows | None) -> PairRows | None:
    """Return the probes of a sheet and of a folder as one."""
    if sheet is None or pings is None:
        return sheet if pings is None else pings
    return PairRows(
        sheet.raw,
        pd.concat([sheet.frame, pings.frame[list(SAMPLES.names)]], ignore_index=True),
        *(np.concatenate((getattr(sheet, name), getattr(pings, name))) for name in ("site", "hub", "row", "column")),
    )
