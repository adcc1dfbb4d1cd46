"""Is there room for everybody when every host runs?"""

from __future__ import annotations

import numpy as np

from planner.arrays import as_floats, totals
from planner.fleet import Ints
from planner.sizing.host_counts.hall_conditions import HallCondition
from planner.sizing.instance.classes import group
from planner.sizing.instance.problem import Problem

_SHARINGS = 6  # before a flow is asked; fleets of 100,000 sites with a tenth of the room to spare took three


def all_fit(problem: Problem) -> bool:
    """Say whether a flow carries every cluster when every host runs; False proves that somebody is left out.

    Sites with a possible own tie-breaker always fit. Kept-together sites are treated as divisible, so
    True is not yet a promise for them.
    """
    must = ~problem.may_own
    clusters = np.where(must, problem.clusters, 0)
    room = problem.max_hosts * problem.caps
    if _shares_fit(problem, clusters, room):
        return True
    classes = group(problem, by_weight=False)
    demand = np.where(classes.may_own, 0, classes.demand * classes.items)
    condition = HallCondition(0, 1, classes, demand, problem.caps)
    return condition.flow(problem.max_hosts).missing == 0


def _shares_fit(problem: Problem, clusters: Ints, room: Ints) -> bool:
    """Say whether some shares of every site's clusters over its pools are found that fit; False proves nothing.

    They are even at first. Then pools weigh more by how much room they have for what they got, as in iterative
    proportional fitting (W. E. Deming, F. F. Stephan, Annals of Mathematical Statistics 11 (1940) 427-444).
    """
    weight = as_floats(room > 0)
    for _ in range(_SHARINGS):
        of_pair = weight[problem.pool]
        total = totals(problem.site, of_pair, problem.sites)
        if (total[clusters > 0] == 0).any():
            return False
        each = np.divide(clusters, total, out=np.zeros(problem.sites), where=total > 0)
        shares = of_pair * each[problem.site]
        load = totals(problem.pool, shares, problem.pools)
        if (load <= room * (1 - 1e-9)).all():
            return True
        weight *= np.divide(room, load, out=np.zeros(problem.pools), where=load > 0)
    return False
