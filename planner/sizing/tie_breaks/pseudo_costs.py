"""Pseudo-costs: which column a branch and bound splits next, by how much its halves have raised the bound so far.

Source: M. Benichou et al., "Experiments in mixed-integer linear programming", Mathematical Programming 1 (1971) 76-94;
the product of both sides, T. Achterberg, "Constraint integer programming", thesis, TU Berlin (2007).
"""

from __future__ import annotations

import numpy as np

from planner.fleet import Floats, Ints

_WHOLE = 1e-6


def broken(x: Floats, columns: Ints) -> tuple[Ints, Floats]:
    """Return those of ``columns`` (C,) whose values in ``x`` are not whole, and the fractions of these."""
    values = x[columns]
    part = values - np.floor(values)
    distance = np.minimum(part, 1 - part)
    far = distance > _WHOLE
    return columns[far], part[far]


class PseudoCosts:
    """By how much a unit of rounding down (row 0) and up (row 1) raised the bound, for each of so many ``columns``."""

    def __init__(self, columns: int) -> None:
        self._raised = np.zeros((2, columns))
        self._times = np.zeros((2, columns))

    def learn(self, side: int, column: int, raised: float) -> None:
        """Take in that rounding ``column`` to one side raised the bound by ``raised`` a unit."""
        self._raised[side, column] += raised
        self._times[side, column] += 1

    def best(self, columns: Ints, part: Floats) -> int:
        """Return which of ``columns`` (C,), with fractions ``part``, is likely to raise the bound most."""
        raised = self._raised[:, columns]
        times = self._times[:, columns]
        tried = np.maximum(1, self._times.sum(axis=1, keepdims=True))
        usual = self._raised.sum(axis=1, keepdims=True) / tried
        own = raised / np.maximum(1, times)
        each = np.where(times > 0, own, usual + _WHOLE)
        down, up = np.maximum(each * np.stack((part, 1 - part)), _WHOLE)
        return int(columns[np.argmax(down * up)])
