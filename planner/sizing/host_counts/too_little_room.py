"""How many hosts it takes where there is no room for all: some pools are full in every plan, the others have room.

Sets of sites of one cluster that hosts can carry together are independent in a transversal matroid (J. Edmonds, D. R.
Fulkerson, J. Research of the National Bureau of Standards 69B (1965) 147-153): whatever they weigh, a plan that serves
the most leaves out as many as a maximum flow does. The minimal minimum cut of that flow (A. L. Dulmage, N. S.
Mendelsohn, Canadian J. Math. 10 (1958) 517-534) holds the pools that those left out compete for. All hosts there are
full of sites that can go nowhere else, so that everybody else is served elsewhere: a problem with room for all.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from planner.fleet import Ints
from planner.sizing.host_counts.fewest_hosts import counts_decide, size
from planner.sizing.host_counts.hall_conditions import hall_conditions
from planner.sizing.host_counts.room_for_all import all_fit
from planner.sizing.instance.classes import group
from planner.sizing.instance.problem import Problem, restrict, select
from planner.sizing.solution.counts import objective_value
from planner.sizing.solvers.budget import SolveBudget


@dataclass(frozen=True, slots=True)
class Crowded:
    """The ``hosts`` (P,), ``value`` and ``bound`` of the objective in plans that leave out the fewest, ``left_out``."""

    hosts: Ints
    value: float
    bound: float
    left_out: int


def count_crowded(problem: Problem, budget: SolveBudget) -> Crowded | None:
    """Return the count where somebody is left out; None where nobody is, or more than counts of sites decides."""
    alike = (problem.clusters == 1).all() and (problem.weights > 0).all()
    if not alike or not counts_decide(problem) or all_fit(problem):
        return None
    classes = group(problem, by_weight=False)
    every_host = np.where(problem.caps > 0, problem.max_hosts, 0)
    flow = hall_conditions(problem, classes)[0].flow(every_host)
    full = flow.min_cut
    elsewhere = ~full[problem.pool]
    served_there = np.bincount(problem.site[elsewhere], minlength=problem.sites) > 0
    roomy = restrict(select(problem, elsewhere), served_there)
    sized = size(roomy, budget)
    if sized.counts.unserved.any():  # time ended
        return None
    hosts = np.where(full, every_host, sized.counts.hosts)
    counts = dataclasses.replace(sized.counts, hosts=hosts)
    value = objective_value(roomy, sized.classes, counts)
    return Crowded(hosts, value, value - sized.value + sized.bound, flow.missing)
