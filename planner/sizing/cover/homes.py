"""Homes under given host counts that every loss leaves room for, without a model of all arcs.

First in fractions: the sum over losses of the squared shortfall is convex in the homes, and a step of Frank and Wolfe
(Naval Research Logistics Quarterly 3 (1956) 95-110) is a minimum-cost flow whose costs are what the failing rows
(`planner.sizing.cover.rows`) count. Then in whole sites: a model over the few arcs that the fractions use.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from planner.fleet import Bools, Floats, Ints
from planner.sizing.cover.losses import Losses
from planner.sizing.cover.rows import Row, largest_gaps, missing_rows
from planner.sizing.problem import Classes, Problem
from planner.sizing.realise import realise
from planner.sizing.solver import Effort, LinearProgram, solve_arrays
from planner.sizing.transport import Cost, Transport, least_cost_flow

_SCALE = 200  # parts of a cluster that fractions count to
_ENOUGH = 1.0  # clusters short in all: rounding decides about these
_PATIENCE = 12  # steps without 2 % less
_MOST_STEPS = 300
_USED = 0.02  # of a site: arcs with less are not offered to the rounding
_ROUNDING_SECONDS = 30.0
_ROUNDS = 20


def find_homes(
    problem: Problem, classes: Classes, losses: Losses, hosts: Ints, effort: Effort
) -> tuple[Floats | None, Floats]:
    """Return whole homes (A,), and the pool room (P,) that was short where there are none.

    Everybody is served, and everybody who can be is covered. None is no proof that there are no homes.
    """
    never = ~losses.coverable(classes.indptr, classes.pool, problem.max_hosts)[classes.of_arc]
    short = np.zeros(problem.pools)
    start = realise(problem, classes, hosts)
    if start is None:
        return None, short
    flow = _cheapest(problem, classes, hosts, start.flow, np.zeros(len(classes.pool)))
    least, waited = np.inf, 0
    seen: dict[tuple[int, int, bytes], Row] = {}
    for step in range(_MOST_STEPS):
        if flow is None or effort.spent:
            return None, short
        gaps = list(largest_gaps(problem, classes, losses, hosts, flow, np.where(never, flow, 0.0), _SCALE))
        seen |= {row.key: row for row, _ in gaps}
        total = sum(gap for _, gap in gaps)
        if total < _ENOUGH:
            whole = _rounded(problem, classes, losses, hosts, flow, never, list(seen.values()), effort)
            if whole is not None:
                return whole, short
        short = _short_room(problem, gaps)
        waited = 0 if total < 0.98 * least else waited + 1
        least = min(least, total)
        if waited == _PATIENCE or total < _ENOUGH:
            return None, short
        cost = np.sum([gap * row.counted(classes, losses) for row, gap in gaps], axis=0)
        target = _cheapest(problem, classes, hosts, start.flow, cost)
        flow = None if target is None else flow + (target - flow) * 2.0 / (step + 3.0)
        effort.tell("cover", float(hosts.sum()), None)
    return None, short


def _short_room(problem: Problem, gaps: list[tuple[Row, float]]) -> Floats:
    """Return by how many clusters the room of each pool was short, added up over losses, shape (P,)."""
    short = np.zeros(problem.pools)
    for row, gap in gaps:
        short[row.pools] += gap
    return short


def _cheapest(problem: Problem, classes: Classes, hosts: Ints, together: Floats, cost: Floats) -> Floats | None:
    """Return the flow (A,) of least ``cost`` that ``hosts`` carry; sites kept together stay where ``together`` says."""
    light = ~classes.heavy[classes.of_arc]
    fixed = np.where(light, 0.0, together)
    load = np.bincount(classes.pool, weights=fixed * classes.items[classes.of_arc], minlength=problem.pools)
    transport = Transport(
        tail=classes.of_arc[light],
        head=classes.pool[light],
        supply=np.where(classes.heavy, 0, classes.demand),
        room=problem.caps * hosts - np.rint(load).astype(np.int64),
    )
    found = least_cost_flow(transport, [Cost(cost[light], 1e-2)])
    if found is not None:
        fixed[light] = found
    return None if found is None else fixed


def _rounded(
    problem: Problem,
    classes: Classes,
    losses: Losses,
    hosts: Ints,
    flow: Floats,
    never: Bools,
    rows: list[Row],
    effort: Effort,
) -> Floats | None:
    """Return whole homes on arcs that ``flow`` uses, adding rows until every loss finds room; None if there are none."""
    arcs = np.flatnonzero((flow > _USED) | (never & (flow > 0)))
    left = _ROUNDING_SECONDS if effort.left is None else min(_ROUNDING_SECONDS, effort.left)
    own = Effort(seconds=left, seed=effort.seed, stopped=effort.stopped)
    known = {row.key for row in rows}
    for _ in range(_ROUNDS):
        answer = solve_arrays(_program(problem, classes, losses, hosts, arcs, rows), own)
        if not answer.outcome.has_solution:
            return None
        whole = np.zeros(len(classes.pool))
        whole[arcs] = np.rint(answer.x)
        lacking = list(missing_rows(problem, classes, losses, hosts, whole, np.where(never, whole, 0.0)))
        if not lacking:
            return whole
        rows = rows + [row for row in lacking if row.key not in known]
        known |= {row.key for row in lacking}
    return None


def _program(
    problem: Problem, classes: Classes, losses: Losses, hosts: Ints, arcs: Ints, rows: list[Row]
) -> LinearProgram:
    """Return the model of whole homes on ``arcs``: every class is served, no pool overfull, every row kept."""
    each = classes.items[classes.of_arc[arcs]].astype(np.float64)
    count = np.arange(len(arcs))
    served = sp.csr_array((np.ones(len(arcs)), (classes.of_arc[arcs], count)), shape=(classes.count, len(arcs)))
    filled = sp.csr_array((each, (classes.pool[arcs], count)), shape=(problem.pools, len(arcs)))
    kept = [sp.csr_array((each * row.counted(classes, losses)[arcs])[None, :]) for row in rows]
    most = np.array([row.limit(losses, hosts) for row in rows])
    demand = classes.demand.astype(np.float64)
    return LinearProgram(
        cost=np.zeros(len(arcs)),
        upper=demand[classes.of_arc[arcs]],
        matrix=sp.csc_array(sp.vstack([served, filled, *kept])),
        row_lower=np.concatenate((demand, np.full(problem.pools + len(rows), -np.inf))),
        row_upper=np.concatenate((demand, (problem.caps * hosts).astype(np.float64), most)),
        whole=np.ones(len(arcs), dtype=np.bool_),
    )
