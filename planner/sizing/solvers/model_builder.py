"""Linear and integer programs row by row: named blocks of columns, rows as they are numbered beside a formulation.

What hosts can carry is written here once, for every model over pools that is handed to HiGHS as arrays:

    (2)  sum over the columns at pool p of k_x x  <=  C_p n_p              C_p clusters on a host, k_x of a unit of x
    (3)  sum over those of t clusters or more of x  <=  floor(C_p / t) n_p     for each size t that does not divide C_p
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from planner.fleet import Bools, Floats, Ints
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.highs import LinearProgram

Term = tuple[Ints, Floats | float]  # columns and their coefficients
Terms = tuple[Ints, Ints, Floats | float]  # row among those that are added, column, coefficient


class ModelBuilder:
    """A program as it grows; columns are 0 or more, and whole only where that is said."""

    def __init__(self) -> None:
        self._cost: list[Floats] = []
        self._upper: list[Floats] = []
        self._whole: list[Bools] = []
        self._row: list[Ints] = []
        self._column: list[Ints] = []
        self._value: list[Floats] = []
        self._low: list[Floats] = []
        self._high: list[Floats] = []
        self.columns = self.rows = 0

    def block(
        self, size: int, cost: Floats | float = 0.0, upper: Floats | float = np.inf, whole: Bools | bool = False
    ) -> Ints:
        """Add so many columns, and return their positions."""
        first, self.columns = self.columns, self.columns + size
        self._cost.append(np.broadcast_to(np.asarray(cost, dtype=np.float64), size))
        self._upper.append(np.broadcast_to(np.asarray(upper, dtype=np.float64), size))
        self._whole.append(np.broadcast_to(np.asarray(whole, dtype=np.bool_), size))
        return np.arange(first, self.columns)

    def row(self, terms: Sequence[Term], low: float, high: float) -> None:
        """Add one row: the sum of coefficient times column is between ``low`` and ``high``."""
        self.add([(np.zeros(len(columns), dtype=np.int64), columns, value) for columns, value in terms], 1, low, high)

    def add(self, terms: Sequence[Terms], rows: int, low: Floats | float, high: Floats | float) -> None:
        """Add so many rows, with limits of shape (rows,)."""
        for row, columns, value in terms:
            self._row.append(self.rows + row)
            self._column.append(columns)
            self._value.append(np.broadcast_to(np.asarray(value, dtype=np.float64), len(columns)))
        self._low.append(np.broadcast_to(np.asarray(low, dtype=np.float64), rows))
        self._high.append(np.broadcast_to(np.asarray(high, dtype=np.float64), rows))
        self.rows += rows

    def program(self, cost: Floats | None = None) -> LinearProgram:
        """Return it as arrays; ``cost`` (columns,) instead of those that blocks have."""
        at = np.concatenate(self._row), np.concatenate(self._column)
        matrix = sp.coo_array((np.concatenate(self._value), at), shape=(self.rows, self.columns))
        whole = np.concatenate(self._whole)
        return LinearProgram(
            cost=np.concatenate(self._cost) if cost is None else cost,
            upper=np.concatenate(self._upper),
            matrix=sp.csc_array(matrix),
            row_lower=np.concatenate(self._low),
            row_upper=np.concatenate(self._high),
            whole=whole if whole.any() else None,
        )


@dataclass(frozen=True)
class Loads:
    """Columns that bring clusters to pools; all shapes (X,): ``pool``, ``column``, ``items`` clusters of a unit."""

    pool: Ints
    column: Ints
    items: Ints


def add_room(model: ModelBuilder, problem: Problem, hosts: Ints, loads: Sequence[Loads]) -> None:
    """Add (2) alone; ``hosts`` (P,) are the columns n_p."""
    brought: list[Terms] = [(load.pool, load.column, load.items.astype(np.float64)) for load in loads]
    caps = -problem.caps.astype(np.float64)
    model.add([*brought, (np.arange(problem.pools), hosts, caps)], problem.pools, -np.inf, 0.0)


def add_capacity(model: ModelBuilder, problem: Problem, hosts: Ints, loads: Sequence[Loads]) -> None:
    """Add (2) and (3); ``hosts`` (P,) are the columns n_p."""
    add_room(model, problem, hosts, loads)
    sizes = np.unique(np.concatenate([load.items for load in loads]))
    for size in sizes[sizes > 1].tolist():
        uneven = problem.caps % size > 0
        at = np.cumsum(uneven) - 1
        terms: list[Terms] = []
        for load in loads:
            large = (load.items >= size) & uneven[load.pool]
            terms.append((at[load.pool[large]], load.column[large], 1.0))
        held = np.floor(problem.caps[uneven] / size)
        model.add([*terms, (at[uneven], hosts[uneven], -held)], int(uneven.sum()), -np.inf, 0.0)


def add_host_limits(model: ModelBuilder, problem: Problem, hosts: Ints) -> None:
    """Add what hosts of several pools may take together; ``hosts`` (P,) are the columns n_p."""
    for limit in problem.host_limits:
        model.row([(hosts[limit.pools], limit.each.astype(np.float64))], -np.inf, float(limit.most))
