"""Types of arrays, the usual ones, and what every room does alike: ids to positions, weights to whole numbers."""

from __future__ import annotations

from collections.abc import Sequence, Sized
from fractions import Fraction
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Moments = npt.NDArray[np.datetime64]


Size = int | tuple[int, ...]


def int_zeros(size: Size) -> Ints:
    """Return whole zeros, of shape ``size``."""
    return np.zeros(size, dtype=np.int64)


def falses(size: Size) -> Bools:
    """Return an array of False, of shape ``size``."""
    return np.zeros(size, dtype=np.bool_)


def trues(size: Size) -> Bools:
    """Return an array of True, of shape ``size``."""
    return np.ones(size, dtype=np.bool_)


def int_array(values: Sequence[Any]) -> Ints:
    """Return ``values`` as an array of whole numbers."""
    return np.array(values, dtype=np.int64)


def minus_ones(size: Size) -> Ints:
    """Return -1 everywhere, of shape ``size``: positions that are not known yet, or that there are none of."""
    return np.full(size, -1, dtype=np.int64)


def indices(values: Sized) -> Ints:
    """Return the positions of ``values``, from 0 on."""
    return np.arange(len(values))


def totals(at: Ints, amounts: npt.NDArray[Any], size: int) -> Floats:
    """Return what the ``amounts`` (n,) come to at each of ``size`` places, where each of them is ``at`` one (n,).

    >>> totals(np.array([2, 0, 2]), np.array([1.0, 2.0, 3.0]), 4)
    array([2., 0., 4., 0.])
    """
    return as_floats(np.bincount(at, amounts, size))


def inverse(at: Ints, size: int) -> Ints:
    """Return where each of the numbers below ``size`` stands in ``at`` (n,), -1 for those that do not, shape (size,).

    >>> inverse(np.array([2, 0]), 4)
    array([ 1, -1,  0, -1])
    """
    found = minus_ones(size)
    found[at] = indices(at)
    return found


def offsets(lengths: Ints) -> Ints:
    """Return where each of n runs of these ``lengths`` (n,) begins, one after the other, and the last ends, (n + 1,).

    >>> offsets(np.array([2, 0, 3]))
    array([0, 2, 2, 5])
    """
    found: Ints = np.concatenate(([0], np.cumsum(lengths))).astype(np.int64)
    return found


def owners(begin: Ints) -> Ints:
    """Return the number of the run in which each entry stands, of runs that ``begin`` (n + 1,), as `offsets` has it.

    >>> owners(np.array([0, 2, 2, 5]))
    array([0, 0, 2, 2, 2])
    """
    lengths = np.diff(begin)
    return np.repeat(indices(lengths), lengths)


def run_of(begin: Ints, number: int) -> slice:
    """Return where a run stands of those that ``begin`` (n + 1,), as `offsets` has it, says."""
    return slice(int(begin[number]), int(begin[number + 1]))


def places(ascending: Ints) -> Ints:
    """Return how many of the same value stand before each of ``ascending`` (n,) values.

    >>> places(np.array([0, 0, 2, 2, 2]))
    array([0, 1, 0, 1, 2])
    """
    return indices(ascending) - np.searchsorted(ascending, ascending)


def runs(first: Ints, lengths: Ints) -> Ints:
    """Return runs of numbers that follow one another: so many, ``lengths`` (n,), from each of ``first`` (n,) on.

    >>> runs(np.array([7, 0, 3]), np.array([2, 0, 3]))
    array([7, 8, 3, 4, 5])
    """
    begin = offsets(lengths)
    moved_by = np.repeat(first - begin[:-1], lengths)
    found: Ints = np.arange(begin[-1]) + moved_by
    return found


def as_floats(values: npt.NDArray[Any]) -> Floats:
    """Return a copy of ``values`` as floating-point numbers."""
    return values.astype(np.float64)


def rounded(values: npt.NDArray[Any]) -> Ints:
    """Return the whole numbers nearest to ``values``, of two as near the even one."""
    whole: Ints = np.rint(values).astype(np.int64)
    return whole


def marking_rows(marks: Bools) -> Ints:
    """Return, for each column of ``marks`` (rows, P), the rows that mark it, shape (P, most of them), -1 for none."""
    each = [np.flatnonzero(column) for column in marks.T]
    wide = max((len(rows) for rows in each), default=0)
    found = np.full((marks.shape[1], wide), -1, dtype=np.int64)
    for p, rows in enumerate(each):
        found[p, : len(rows)] = rows
    return found


def positions(ids: Sequence[str] | pd.Series, among: Sequence[str]) -> Ints:
    """Return the position of each id in ``among``; -1 for an id that is not there."""
    at = {name: position for position, name in enumerate(among)}
    if isinstance(ids, pd.Series) and isinstance(ids.dtype, pd.CategoricalDtype):
        of_category = np.array([*(at.get(name, -1) for name in ids.cat.categories), -1], dtype=np.int64)
        found: Ints = of_category[ids.cat.codes.to_numpy()]
        return found
    return np.array([at.get(name, -1) for name in ids], dtype=np.int64)


def whole_weights(weights: Floats) -> Ints:
    """Return weights as whole multiples of their common unit, so that sums of them are exact.

    Weights are read to six decimals, the least as one millionth; smaller differences do not count.
    """
    distinct, inverse = np.unique(weights, return_inverse=True)
    exact = [exact_weight(weight) for weight in distinct]
    scale = int(np.lcm.reduce([f.denominator for f in exact], dtype=np.int64, initial=1))
    whole = np.array([int(f * scale) for f in exact], dtype=np.int64)
    unit = int(np.gcd.reduce(whole)) if len(whole) else 1
    return (whole // max(unit, 1))[inverse]


def exact_weight(weight: float) -> Fraction:
    """Return a weight to six decimals, one millionth at the least."""
    return max(Fraction(f"{weight:.6f}"), Fraction(1, 10**6))
