"""A plan without a solver: for the case that time ends before the solver has found one."""

from __future__ import annotations

import numpy as np

from planner.sizing.model import Counts
from planner.sizing.problem import Classes, Problem


def greedy_counts(problem: Problem, classes: Classes) -> Counts:
    """Open hosts one at a time, each where it takes most waiting clusters, sites with the fewest choices first.

    Every host is filled on its own, so the result packs. No bound comes with it.
    """
    hosts = np.zeros(problem.pools, dtype=np.int64)
    flow = np.zeros(len(classes.pool))
    waiting = classes.demand.copy()
    choices = np.diff(classes.indptr)
    arcs_of = [np.flatnonzero(classes.pool == p) for p in range(problem.pools)]
    arcs_of = [arcs[np.argsort(choices[classes.of_arc[arcs]], kind="stable")] for arcs in arcs_of]
    uplink = problem.uplink_kbps.copy()
    while True:
        fillings = [
            _filling(problem, classes, waiting, arcs_of[p], p, uplink[problem.hub[p]])
            if hosts[p] < problem.max_hosts[p]
            else (0, {})
            for p in range(problem.pools)
        ]
        best = int(np.argmax([load for load, _ in fillings])) if fillings else 0
        if not fillings or fillings[best][0] == 0:
            break
        hosts[best] += 1
        for arc, units in fillings[best][1].items():
            flow[arc] += units
            waiting[classes.of_arc[arc]] -= units
            uplink[problem.hub[best]] -= units * _each(classes, arc)
    left = waiting // classes.unit_demand
    own = np.where(np.isfinite(classes.own_cost), left, 0)
    return Counts(hosts, flow, left - own, own)


def _filling(
    problem: Problem, classes: Classes, waiting: np.ndarray, arcs: np.ndarray, p: int, kbps: float
) -> tuple[int, dict[int, int]]:
    """Return what one more host of pool ``p`` would take: clusters, and units by arc."""
    free, taken = int(problem.caps[p]), {}
    for arc in arcs:
        c = classes.of_arc[arc]
        units = min(int(waiting[c]), free // int(classes.items[c]))
        if _each(classes, arc) > 0 and np.isfinite(kbps):
            units = min(units, int(kbps / _each(classes, arc) + 1e-9))
        # A split site must be served whole or not at all; its units go to one host here.
        units -= units % int(classes.unit_demand[c])
        if units:
            taken[int(arc)] = units
            free -= units * int(classes.items[c])
            kbps -= units * _each(classes, arc)
    return int(problem.caps[p]) - free, taken


def _each(classes: Classes, arc: int) -> float:
    """Return the traffic of one unit on an arc in kb/s."""
    c = classes.of_arc[arc]
    return float(classes.traffic_kbps[c] / classes.unit_demand[c])
