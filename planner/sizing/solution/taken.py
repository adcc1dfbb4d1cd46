"""What seats take of the limits on hubs, zones and the weight on hosts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planner.arrays import int_array, totals
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.seating import Seat


class Taken:
    """What ``seats`` take: of each limit of the problem what ``used`` says, in order.

    Of the hosts that carry something, shapes (M,): ``pool``, clusters ``load``, and the weight ``carried``.
    """

    def __init__(self, problem: Problem, seats: Sequence[Seat]) -> None:
        site = int_array([seat.site for seat in seats])
        pool = int_array([seat.pool for seat in seats])
        clusters = int_array([seat.clusters for seat in seats])
        share = clusters / problem.clusters[site]
        self.used: list[float] = []
        for limit in problem.limits:
            brought = problem.amounts[limit.measure][site] * share
            counted = brought[limit.pools[pool]]
            self.used.append(float(counted.sum()))
        names = np.array([seat.host for seat in seats], dtype=np.str_)
        _, first, host = np.unique(names, return_index=True, return_inverse=True)
        self.pool = pool[first]
        self.load = totals(host, clusters, len(first))
        weight = problem.weights[site] * share
        self.carried = totals(host, weight, len(first))
