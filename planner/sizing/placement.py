"""Which site uses which pool, with the hosts of every pool given: fewest moves, then least total RTT."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planner.errors import SolverError
from planner.fleet import Bools, Floats, Ints
from planner.sizing.counts import Sized
from planner.sizing.problem import Problem
from planner.sizing.transport import Cost, Transport, least_cost_flow


@dataclass(frozen=True, slots=True)
class Placement:
    """Who goes where.

    ``pair``, ``units`` (X,): eligible pairs used and the clusters on each. ``unserved``, ``own`` (S,): sites left out.
    """

    pair: Ints
    units: Ints
    unserved: Bools
    own: Bools


def place(problem: Problem, sized: Sized, stays: Bools) -> Placement:
    """Send every site to a pool.

    ``stays`` (E,) marks pairs that keep a site where it is today. Sites of several clusters keep the
    pools that the packing was proven for, shared out within their class.
    """
    transport, pair_of = _network(problem, sized)
    flow = least_cost_flow(transport, _costs(problem, pair_of, stays))
    if flow is None:
        raise SolverError("the host counts do not carry the sites they were computed for")
    used = np.flatnonzero((flow > 0) & (pair_of >= 0))
    sink = transport.head - problem.pools
    gone = (flow > 0) & (pair_of < 0)
    unserved = np.zeros(problem.sites, dtype=np.bool_)
    own = np.zeros(problem.sites, dtype=np.bool_)
    unserved[transport.tail[gone & (sink < sized.classes.count)]] = True
    own[transport.tail[gone & (sink >= sized.classes.count) & (sink < 2 * sized.classes.count)]] = True
    per_unit = 1 if problem.split else problem.clusters[transport.tail[used]]
    return Placement(pair_of[used], flow[used] * per_unit, unserved, own)


def _network(problem: Problem, sized: Sized) -> tuple[Transport, Ints]:
    """Return the transportation problem and the eligible pair of each arc (-1: unserved or own tie-breaker).

    Sinks: a pool's room for light sites, then "unserved" and "own" for each class, then one for each
    pool that a heavy class uses.
    """
    classes, counts = sized.classes, sized.counts
    pools, kinds = problem.pools, classes.count
    class_of_pair = classes.of_site[problem.site]
    # Position of each pair's arc among its class's arcs: same pools in the same order.
    arc_of_pair = classes.indptr[class_of_pair] + np.arange(len(problem.pool)) - problem.indptr[problem.site]
    heavy = classes.heavy[class_of_pair]
    head = np.where(heavy, pools + 2 * kinds + arc_of_pair, problem.pool)
    heavy_flow = np.where(classes.heavy[classes.of_arc], counts.flow, 0.0)
    heavy_load = np.bincount(classes.pool, weights=heavy_flow * classes.items[classes.of_arc], minlength=pools)
    room = np.concatenate(
        (
            problem.caps * counts.hosts - np.rint(heavy_load).astype(np.int64),
            counts.unserved * classes.unit_demand,
            counts.own * classes.unit_demand,
            np.rint(heavy_flow).astype(np.int64),
        )
    )
    left_out, fixed_out = _who(problem, sized, counts.unserved, np.zeros(problem.sites, dtype=np.bool_))
    has_own, fixed = _who(problem, sized, counts.own, fixed_out)
    open_pairs = np.flatnonzero(~fixed[problem.site])
    transport = Transport(
        tail=np.concatenate((problem.site[open_pairs], left_out, has_own)),
        head=np.concatenate(
            (head[open_pairs], pools + classes.of_site[left_out], pools + kinds + classes.of_site[has_own])
        ).astype(np.int64),
        supply=classes.unit_demand[classes.of_site],
        room=room,
    )
    none = np.full(len(left_out) + len(has_own), -1, dtype=np.int64)
    pair_of = np.concatenate((open_pairs, none))
    return _without_closed(transport, pair_of)


def _who(problem: Problem, sized: Sized, numbers: Ints, taken: Bools) -> tuple[Ints, Bools]:
    """Return the sites that may be among the ``numbers`` (K,) of their class, and ``taken`` plus those that must be.

    The flow chooses freely where sites are whole. A split site must not be left out by halves, so the
    farthest of its class are named beforehand.
    """
    wanted = numbers[sized.classes.of_site]
    if not problem.split:
        return np.flatnonzero((wanted > 0) & ~taken), taken
    nearest = np.full(problem.sites, np.inf)
    np.minimum.at(nearest, problem.site, problem.rtt_ms)
    chosen: list[int] = []
    for c in np.flatnonzero(numbers):
        members = np.flatnonzero((sized.classes.of_site == c) & ~taken)
        chosen.extend(members[np.argsort(-nearest[members], kind="stable")][: numbers[c]])
    named = np.array(sorted(chosen), dtype=np.int64)
    taken = taken.copy()
    taken[named] = True
    return named, taken


def _without_closed(transport: Transport, pair_of: Ints) -> tuple[Transport, Ints]:
    """Drop arcs to sinks without room: most pools of a large fleet are empty."""
    keep = transport.room[transport.head] > 0
    return Transport(transport.tail[keep], transport.head[keep], transport.supply, transport.room), pair_of[keep]


def _costs(problem: Problem, pair_of: Ints, stays: Bools) -> list[Cost]:
    """Return the costs of a unit on each arc, first the one that matters most."""
    real = pair_of >= 0

    def of_arc(cost: Floats | Bools, step: float) -> Cost:
        values = np.zeros(len(pair_of))
        values[real] = cost[pair_of[real]]
        return Cost(values, step)

    costs = [of_arc(problem.pair_cost, 1e-6)] if problem.objective == "cost" else []
    if stays.any():
        costs.append(of_arc(~stays, 1.0))
    return [*costs, of_arc(problem.rtt_ms, 1e-3)]
