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
    """Return what hosts cost by the objective."""
    if problem.objective == "cost":
        return Prices(problem.host_cost, problem.host_cost, int_zeros(problem.pools))
    one = np.ones(problem.pools)
    if problem.objective == "new_hosts":
        return Prices(np.zeros(problem.pools), one, problem.existing)
    return Prices(one, one, int_zeros(problem.pools))


def search_prices_of(problem: Problem) -> Prices:
    """Return `prices_of` for a search; a host that costs nothing counts a little, since it is better not to run it."""
    prices = prices_of(problem)
    if problem.objective == "hosts":
        return prices
    largest = float(prices.further.max(initial=0.0))
    little = _LITTLE * max(1.0, largest)
    if problem.objective == "cost":
        price = np.maximum(prices.further, little)
        return Prices(price, price, prices.existing)
    return Prices(prices.first + _LITTLE, prices.further + _LITTLE, prices.existing)
