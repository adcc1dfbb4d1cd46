"""Which of two sets goes with which, so that the pairs together gain most."""

from __future__ import annotations

from collections.abc import Iterator

from planner.fleet import Floats


def best_matching(gain: Floats) -> Iterator[tuple[int, int]]:
    """Yield row and column of each pair of a matching of greatest total ``gain`` (R, C), in order of rows."""
    rows, columns = gain.shape
    if min(rows, columns) == 1:  # as in most pools: SciPy's optimisers, which take a while to load, are not asked
        best = int(gain.argmax())
        yield (0, best) if rows == 1 else (best, 0)
        return
    from scipy.optimize import linear_sum_assignment

    row_of, column_of = linear_sum_assignment(-gain)
    yield from zip(row_of.tolist(), column_of.tolist(), strict=True)
