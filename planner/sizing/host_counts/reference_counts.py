"""Host counts that others are kept near to, among equals: where sites stay, or share out evenly."""

from __future__ import annotations

import numpy as np

from planner.arrays import as_floats, totals
from planner.fleet import Bools, Floats
from planner.sizing.instance.problem import Problem


def reference_counts(problem: Problem, incumbent: Bools) -> Floats:
    """Return hosts of each pool (P,), not whole, when sites stay where they are today or else share out evenly.

    ``incumbent`` (E,) marks the pairs that keep a site where it is.
    """
    kept_pairs = totals(problem.site, incumbent, problem.sites)
    keeps = kept_pairs > 0
    chosen = as_floats(np.where(keeps[problem.site], incumbent, True))
    choices = totals(problem.site, chosen, problem.sites)
    each = problem.clusters / np.maximum(1.0, choices)
    share = chosen * each[problem.site]
    load = totals(problem.pool, share, problem.pools)
    hosts = load / np.maximum(1, problem.caps)
    return np.minimum(hosts, problem.max_hosts)
