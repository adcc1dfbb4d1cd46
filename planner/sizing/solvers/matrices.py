"""Sparse matrices as HiGHS takes them: three arrays, made without SciPy, which takes longer to load than to use."""

from __future__ import annotations

from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from planner.fleet import Floats, Ints

Whole = NDArray[np.signedinteger[Any]]  # of 32 or 64 bits


class Matrix(Protocol):
    """What solvers read of a sparse matrix; those of SciPy are such, and so is `Compressed`."""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""

    @property
    def indptr(self) -> Whole:
        """Where each line begins, and the last one ends."""

    @property
    def indices(self) -> Whole:
        """Place of each entry in its line."""

    @property
    def data(self) -> Floats:
        """Value of each entry."""


class Compressed(NamedTuple):
    """Lines of a matrix, columns or rows: line l has ``data[indptr[l]:indptr[l + 1]]`` at ``indices``, ascending."""

    shape: tuple[int, int]
    indptr: Whole
    indices: Whole
    data: Floats


def by_columns(row: Ints, column: Ints, value: Floats, shape: tuple[int, int]) -> Compressed:
    """Return the matrix of these entries column by column; entries of one place are added up.

    >>> by_columns(np.array([1, 0, 1]), np.array([0, 0, 0]), np.array([2.0, 1.0, 3.0]), (2, 1)).data
    array([1., 5.])
    """
    rows, columns = shape
    return Compressed(shape, *_lines(column, row, value, columns, rows))


def by_rows(row: Ints, column: Ints, value: Floats, shape: tuple[int, int]) -> Compressed:
    """Return the matrix of these entries row by row; entries of one place are added up."""
    return Compressed(shape, *_lines(row, column, value, *shape))


def rows_of(dense: Floats) -> Compressed:
    """Return a ``dense`` matrix row by row, without its zeros."""
    row, column = np.nonzero(dense)
    rows, columns = dense.shape
    return by_rows(row, column, dense[row, column], (rows, columns))


def _lines(line: Ints, place: Ints, value: Floats, lines: int, width: int) -> tuple[Whole, Whole, Floats]:
    wide = max(1, width)
    key = line * wide + place
    order = np.argsort(key, kind="stable")
    key = key[order]
    value = value[order].astype(np.float64)
    first = np.flatnonzero(np.diff(key, prepend=-1))
    if len(first) < len(key):
        key = key[first]
        value = np.add.reduceat(value, first)
    begin = np.searchsorted(key, np.arange(lines + 1) * wide)
    within = key % wide
    return begin.astype(np.int32), within.astype(np.int32), value
