"""Majority of votes: at least k of n independent parts, also of parts that differ."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from planner.fleet import Floats


def at_least(k: int, probabilities: Sequence[npt.ArrayLike]) -> Floats:
    """Return the probability that at least ``k`` of n independent events happen.

    ``probabilities`` are those of the n events, numbers or arrays that broadcast against each other; the result has
    their common shape. The sum over all sets of at least k events (NIST/SEMATECH e-Handbook of Statistical Methods,
    8.1.8.4, "R out of N model", parts that are not identical included), added up event by event.

    >>> float(at_least(3, [0.9] * 4)).__round__(4)
    0.9477
    """
    events = np.broadcast_arrays(*(np.asarray(p, dtype=np.float64) for p in probabilities))
    happened = [np.ones(events[0].shape)] + [np.zeros(events[0].shape) for _ in events]
    for p in events:
        happened = [happened[0] * (1 - p)] + [now * (1 - p) + fewer * p for fewer, now in pairwise(happened)]
    total: Floats = np.sum(happened[k:], axis=0)
    return total


def cluster_down(node_down: npt.ArrayLike, vote_down: npt.ArrayLike) -> Floats:
    """Return the probability that a cluster of two like nodes and a third vote lacks its majority.

    It is down when at least two of the three are: ``d^2 + 2 d (1 - d) v`` for node d and vote v. Reckoned from down
    times, because one minus an availability near one keeps few digits.
    """
    return at_least(2, (node_down, node_down, vote_down))


def either_down(*down: npt.ArrayLike) -> Floats:
    """Return the probability that a chain of independent parts is broken: at least one of them is down."""
    return at_least(1, down)


@lru_cache(maxsize=4096)
def binomial(n: int, p: float) -> Floats:
    """Return the probabilities that 0, 1, ... n of ``n`` independent events of probability ``p`` happen."""
    row = np.ones(1)
    for _ in range(n):
        row = np.convolve(row, (1.0 - p, p))
    return row
