"""Which pool carries which site in every period: nobody moves who can stay, and no more than need to.

A move is a change of pool. First all who can stay do, and the others find room around them, which nobody can better.
Only where that fails is the least number of moves solved for, as pair costs of the class flow model.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Ints
from planner.scenarios.horizon.demand import Demand, with_hosts
from planner.sizing.counts import Sized, size
from planner.sizing.placement import Placement, place
from planner.sizing.problem import Problem, group, select
from planner.sizing.realise import realise
from planner.sizing.solver import Effort


@dataclass(frozen=True)
class Settled:
    """``pool_of`` maps site ids to pool ids; ``moves`` lists (site, from, to)."""

    pool_of: dict[str, str]
    moves: tuple[tuple[str, str, str], ...]
    forced: int
    proven: bool


def settle(demand: Demand, hosts: Ints, before: dict[str, str], effort: Effort) -> Settled:
    """Return who goes where with ``hosts`` (P,) when ``before`` maps sites to the pools that carried them."""
    problem, fleet = demand.problem, demand.fleet
    sites = [fleet.site_ids[at] for at in problem.site_at]
    pools = [fleet.pool_ids[at] for at in problem.pool_at]
    was = np.array([pools.index(before[s]) if before.get(s) in pools else -1 for s in sites], dtype=np.int64)
    stays = problem.pool == was[problem.site] if problem.sites else np.zeros(0, dtype=np.bool_)
    can_stay = np.bincount(problem.site, weights=stays, minlength=problem.sites) > 0
    forced = int(((was >= 0) & ~can_stay).sum())
    placement, proven = _all_stay(problem, hosts, stays, can_stay), True
    if placement is None:
        placement, proven = _fewest_moves(demand, hosts, stays, effort)
    pool_of = {}
    for pair in placement.pair:
        pool_of[sites[problem.site[pair]]] = pools[problem.pool[pair]]
    moves = tuple(
        (site, before[site], pool) for site, pool in sorted(pool_of.items()) if site in before and before[site] != pool
    )
    return Settled(pool_of, moves, forced, proven)


def _all_stay(problem: Problem, hosts: Ints, stays: Bools, can_stay: Bools) -> Placement | None:
    """Return a placement in which everybody stays who can; None when the others do not fit around them."""
    keep = stays | ~can_stay[problem.site]
    narrowed = select(problem, keep)
    classes = group(narrowed, by_weight=False)
    counts = realise(narrowed, classes, hosts)
    if counts is None:
        return None
    sized = Sized(classes, counts, 0.0, 0.0, True, "")
    found = place(narrowed, sized, stays[keep], ("latency",))
    if found is None:
        return None
    return dataclasses.replace(found, pair=np.flatnonzero(keep)[found.pair])


def _fewest_moves(demand: Demand, hosts: Ints, stays: Bools, effort: Effort) -> tuple[Placement, bool]:
    """Return a placement with as few moves as can be, and whether that is proven."""
    moving = dataclasses.replace(
        with_hosts(demand.problem, hosts),
        objective="cost",
        host_cost=np.zeros(demand.problem.pools),
        pair_cost=(~stays).astype(np.float64),
    )
    sized = size(moving, effort)
    found = None if sized.counts.unserved.any() else _placed(moving, sized, hosts, stays)
    if found is not None:
        return found, sized.bound >= sized.value - 1e-6
    # Time ended before the moves were settled: any way to seat everybody will do.
    plain = with_hosts(demand.problem, hosts)
    found = _placed(plain, size(plain, Effort(seed=effort.seed)), hosts, stays)
    assert found is not None  # the counts carry everybody, as the model has checked
    return found, False


def _placed(problem: Problem, sized: Sized, hosts: Ints, stays: Bools) -> Placement | None:
    """Place everybody with all ``hosts`` running, whether or not the model needed them."""
    counts = dataclasses.replace(sized.counts, hosts=hosts)
    return place(problem, dataclasses.replace(sized, counts=counts), stays, ("moves", "latency"))
