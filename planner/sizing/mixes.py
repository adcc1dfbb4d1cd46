"""The cheapest mixes of shared hosts and own tie-breakers at one price of these after the other."""

from __future__ import annotations

import dataclasses
import itertools
from dataclasses import dataclass

import numpy as np

from planner.arrays import falses, int_zeros
from planner.fleet import Fleet, Ints
from planner.rules import Checker
from planner.sizing.host_counts.hall_conditions import Cut
from planner.sizing.host_counts.own_pools import cheapest_mix, counts_decide_mix
from planner.sizing.host_counts.room_for_all import all_fit
from planner.sizing.instance.classes import group
from planner.sizing.instance.problem import Problem, build_problem
from planner.sizing.solvers.budget import Progress, SolveBudget
from planner.sizing.tie_breaks.lexicographic import placed

_MOST_ROUNDS = 12  # of the cut search for one price: most take one or two, and the last ones the longest


@dataclass(frozen=True, slots=True)
class Mix:
    """Hosts of each pool of the fleet (pools,), the ids of sites with a tie-breaker of their own; is it proven?"""

    hosts: Ints
    own_sites: tuple[str, ...]
    proven: bool


class Mixes:
    """The mixes of one fleet whose sites may have their own tie-breaker; what one price teaches serves the next."""

    def __init__(self, fleet: Fleet, problem: Problem) -> None:
        self._fleet, self._problem = fleet, problem
        self._known: list[Cut] = []

    @classmethod
    def of(cls, fleet: Fleet) -> Mixes | None:
        """Return the mixes of ``fleet``; None where counts of hosts and own tie-breakers alone do not decide.

        That is where cover is asked for, pairs cost money, sites may be split, or further limits hold.
        """
        if fleet.policy.cover != "none":
            return None
        problem = build_problem(fleet, Checker.of(fleet))
        classes = group(problem, by_weight=False)
        decided = problem.sites > 0 and counts_decide_mix(problem, classes)
        return cls(fleet, problem) if decided and all_fit(problem) else None

    def at(self, price: float, budget: SolveBudget) -> Mix | None:
        """Return the cheapest mix where an own tie-breaker costs ``price`` a cluster; None when none is found.

        It is not proven where the search takes more rounds than one price is worth.
        """
        of_site = price * self._problem.clusters
        own_cost = np.where(self._problem.may_own, of_site, np.inf)
        problem = dataclasses.replace(self._problem, own_cost=own_cost)
        classes = group(problem, by_weight=False)
        sized = cheapest_mix(problem, classes, _for_some_rounds(budget), self._known)
        if sized is None:
            return None
        nowhere = falses(len(problem.pool))
        own = placed(problem, sized, nowhere, ()).own
        hosts = int_zeros(len(self._fleet.pool_ids))
        hosts[problem.pool_at] = sized.counts.hosts
        sites = problem.site_at[own].tolist()
        ids = tuple(sorted(self._fleet.site_ids[at] for at in sites))
        return Mix(hosts, ids, sized.bound >= sized.value)


def _for_some_rounds(budget: SolveBudget) -> SolveBudget:
    """Return a budget that ends with ``budget``, and when progress was told so many times."""
    rounds = itertools.count()

    def watch(_progress: Progress) -> bool:
        return not budget.stopped.is_set() and next(rounds) < _MOST_ROUNDS

    return SolveBudget(budget.left, budget.seed, watch)
