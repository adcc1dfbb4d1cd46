"""What hosts cost by the policy's objective: money, or one each, where those that exist may be free."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.arrays import int_zeros
from planner.fleet import Floats, Ints
from planner.sizing.instance.problem import Problem

_LITTLE = 1e-3  # of a new host: of plans that add as many, the one with fewest hosts


@dataclass(frozen=True)
class Prices:
    """``first`` (P,) is what each of the hosts that exist costs, ``existing`` (P,) many, and ``further`` each other."""

    first: Floats
    further: Floats
    existing: Ints

    def next(self, hosts: Ints) -> Floats:
        """Return what one host more than ``hosts`` (P,) would cost in each pool, shape (P,)."""
        return np.where(hosts < self.existing, self.first, self.further)

    def last(self, hosts: Ints) -> Floats:
        """Return what each pool would save with one host less, shape (P,)."""
        return np.where(hosts > self.existing, self.further, self.first)

    def total(self, hosts: Ints) -> float:
        """Return what ``hosts`` (P,) cost together."""
        old = np.minimum(hosts, self.existing)
        new = hosts - old
        return float(self.first @ old + self.further @ new)


def prices_of(problem: Problem) -> Prices:
    """Return the prices of hosts; one that costs nothing counts a little, since it is better not to run it."""
    if problem.objective == "cost":
        price = np.maximum(problem.host_cost, _LITTLE * max(1.0, float(problem.host_cost.max(initial=0.0))))
        return Prices(price, price, int_zeros(problem.pools))
    one = np.ones(problem.pools)
    if problem.objective == "new_hosts":
        return Prices(one * _LITTLE, one * (1 + _LITTLE), problem.existing)
    return Prices(one, one, int_zeros(problem.pools))
