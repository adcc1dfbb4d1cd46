"""Sets of sites that force hosts against the loss of one: whichever of the hosts that run is lost, the others do.

All sites of a set have a standby, N are the pools that they can use, D their clusters, R_q what a host carries during a
loss, and r the least R_q in N. Some host of N runs, so that one with r at least may be lost, and one with R_p if pool p
runs any. With y_p = 1 if it does, else 0, this forces for each p in N

    sum over q in N of R_q n_q - (R_p - r) y_p  >=  D + r

Flows say which sets have too little room at given counts; the cheapest whole counts that meet all rows so far are given
next (rows on demand, G. B. Dantzig, D. R. Fulkerson, S. M. Johnson, Operations Research 2 (1954) 393-410).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from planner.arrays import rounded
from planner.fleet import Ints
from planner.sizing.cover.loss_conditions import OneHostLost
from planner.sizing.host_counts.certificate import Forcing, Inequality, enough, host_model, inequalities
from planner.sizing.host_counts.cut_loop import LearnedCuts
from planner.sizing.host_counts.hall_conditions import Cut, HallCondition
from planner.sizing.instance.problem import Problem
from planner.sizing.solvers.budget import SolveBudget
from planner.sizing.solvers.highs import solve_arrays

_EPS = 1e-6
_CLOSE = 1e-9  # relative


def force_hosts(
    problem: Problem,
    conditions: Sequence[HallCondition],
    known: Iterable[Inequality],
    target: float,
    budget: SolveBudget,
) -> Forcing:
    """Return a few inequalities of sets, and what they force of the objective, ``target`` at most.

    Those of ``conditions`` that are ``known`` are there from the start. Time that ends leaves what is found by then.
    """
    rows = {_key(row): row for row in known}
    learned, bound = LearnedCuts(conditions), 0.0
    while not budget.spent:
        model = host_model(problem, [*rows.values()], whole=True)
        answer = solve_arrays(model, budget)
        bound = max(bound, _rounded(problem, answer.outcome.bound))
        if bound >= target * (1 - _CLOSE) or not answer.outcome.has_solution:
            break
        hosts = rounded(answer.x[: problem.pools])
        before = len(rows)
        for flow in learned.short_flows(hosts):
            rows |= {_key(row): row for row in _rows(flow.cuts(), flow.condition, hosts)}
        if len(rows) == before:
            break
    bound = min(bound, target)
    few = enough(problem, [*rows.values()], bound, budget)
    return Forcing(tuple(few), bound)


def _key(row: Inequality) -> tuple[bytes, int, int, int]:
    return row.cut.classes.tobytes(), row.cut.size, row.lost, row.demand


def _rounded(problem: Problem, bound: float) -> float:
    if not np.isfinite(bound):
        return 0.0
    return bound if problem.objective == "cost" else float(np.ceil(bound - _EPS))


def _rows(cuts: Iterator[Cut], condition: HallCondition, hosts: Ints) -> Iterator[Inequality]:
    """Yield the inequalities of ``cuts`` that ``hosts`` (P,) fail, also with a first host where there is none yet."""
    for cut in cuts:
        short = cut.shortfall(hosts)
        if short > 0:
            yield from inequalities(cut)
        if isinstance(condition, OneHostLost):
            largest = int(cut.room.max(initial=0))
            least = cut.room[cut.room > 0].min(initial=largest)
            less = cut.room - int(least)
            for p in np.flatnonzero((less > 0) & (short + less > 0)).tolist():
                yield Inequality(cut, 1, cut.room, cut.demand, p, int(less[p]))
