"""Which pool and host carries which site in every period: nobody moves who can stay, and no more than need to.

Pools are settled first, and within each the hosts: a move is a change of host. First all who can stay in their pool do,
and the others find room around them, which nobody can better. Only where that fails is the least number of moves solved
for, as pair costs of the class flow model.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Fleet, Ints
from planner.scenarios.horizon.demand import Demand, with_hosts
from planner.sizing import (
    Case,
    Placement,
    Problem,
    Seating,
    Sized,
    SolveBudget,
    group,
    incumbent_pairs,
    place,
    round_counts,
    seat_all,
    select,
    size,
)
from planner.today import Today, read_today


@dataclass(frozen=True)
class Settled:
    """``pool_of`` and ``host_of`` map the sites served to their pools and hosts; ``moves`` lists (site, from, to) host.

    ``forced`` of the moves are of sites that may not stay in their pool, or need no shared host any more.
    """

    pool_of: dict[str, str]
    host_of: dict[str, str]
    moves: tuple[tuple[str, str, str], ...]
    forced: int
    proven: bool


def residents(fleet: Fleet, demands: Sequence[Demand]) -> Today:
    """Return who sits where before the first period, by the sheet Current, and the names of hosts in all periods."""
    most = np.max([demand.problem.max_hosts for demand in demands], axis=0)
    problem = demands[0].problem
    return read_today(fleet, problem.pool_at, fit=most, most=np.maximum(most, problem.existing))


def residents_after(before: Today, fleet: Fleet, settled: Settled) -> Today:
    """Return who sits where after a period; who is closed for a while, or not served, comes back to where he was."""
    hub_of = dict(zip(fleet.pool_ids, fleet.pools["hub"], strict=True))
    hub = {site: hub_of[pool] for site, pool in settled.pool_of.items()}
    gone = {site for site, _, host in settled.moves if not host}
    was_hub, was_host = ({s: at for s, at in one.items() if s not in gone} for one in (before.hub, before.host))
    return dataclasses.replace(before, hub={**was_hub, **hub}, host={**was_host, **settled.host_of})


def settle(demand: Demand, hosts: Ints, before: Today, budget: SolveBudget) -> Settled:
    """Return who goes where with ``hosts`` (P,) when the sites are where ``before`` says."""
    problem, fleet = demand.problem, demand.fleet
    sites = [fleet.site_ids[at] for at in problem.site_at]
    pools = [fleet.pool_ids[at] for at in problem.pool_at]
    incumbent = incumbent_pairs(fleet, problem, before)
    can_stay = np.bincount(problem.site, weights=incumbent, minlength=problem.sites) > 0
    placement, proven = _all_stay(problem, hosts, incumbent, can_stay), True
    if placement is None:
        placement, proven = _fewest_moves(demand, hosts, incumbent, budget)
    seating = seat_all(Case(fleet, problem, before), hosts, placement, budget)
    pool_of = {sites[seat.site]: pools[seat.pool] for seat in seating.seats}
    host_of = {sites[seat.site]: seat.host for seat in seating.seats}
    moves = sorted((*_moved(demand, before, seating), *_gone(fleet, before)))
    may_stay = {site for site, can in zip(sites, can_stay, strict=True) if can}
    forced = [site for site, _, host in moves if not host or site not in may_stay]
    moved = {site for site, _, _ in moves}
    within = any(incumbent[seat.pair] and sites[seat.site] in moved for seat in seating.seats)
    return Settled(pool_of, host_of, tuple(moves), len(forced), proven and not within)


def _moved(demand: Demand, before: Today, seating: Seating) -> Iterator[tuple[str, str, str]]:
    """Yield the sites that do not stay where they were: site, host before (its hub where that has no name), host."""
    problem, fleet = demand.problem, demand.fleet
    used = {seat.host for seat in seating.seats}
    runs = {p: before.running(p, int(problem.existing[p]), used) for p in {seat.pool for seat in seating.seats}}
    for seat in seating.seats:
        site = fleet.site_ids[problem.site_at[seat.site]]
        pool = fleet.pool_ids[problem.pool_at[seat.pool]]
        if site in before.hub and not before.keeps(site, seat.host, pool, runs=seat.host in runs[seat.pool]):
            yield site, before.host[site] or before.hub[site], seat.host


def _gone(fleet: Fleet, before: Today) -> Iterator[tuple[str, str, str]]:
    """Yield the sites that need no shared host any more: they leave theirs."""
    for site, needs in zip(fleet.site_ids, fleet.needs_host.tolist(), strict=True):
        if not needs and site in before.hub:
            yield site, before.host.get(site) or before.hub[site], ""


def _all_stay(problem: Problem, hosts: Ints, incumbent: Bools, can_stay: Bools) -> Placement | None:
    """Return a placement in which everybody stays who can; None when the others do not fit around them."""
    keep = incumbent | ~can_stay[problem.site]
    narrowed = select(problem, keep)
    classes = group(narrowed, by_weight=False)
    counts = round_counts(narrowed, classes, hosts)
    if counts is None:
        return None
    sized = Sized(classes, counts, 0.0, 0.0, True, "")
    found = place(narrowed, sized, incumbent[keep], ("latency",))
    if found is None:
        return None
    return dataclasses.replace(found, pair=np.flatnonzero(keep)[found.pair])


def _fewest_moves(demand: Demand, hosts: Ints, incumbent: Bools, budget: SolveBudget) -> tuple[Placement, bool]:
    """Return a placement with as few moves as can be, and whether that is proven."""
    moving = dataclasses.replace(
        with_hosts(demand.problem, hosts),
        objective="cost",
        host_cost=np.zeros(demand.problem.pools),
        pair_cost=(~incumbent).astype(np.float64),
    )
    sized = size(moving, budget)
    found = None if sized.counts.unserved.any() else _placed(moving, sized, hosts, incumbent)
    if found is not None:
        return found, sized.bound >= sized.value - 1e-6
    # Time ended before the moves were settled: any way to seat everybody will do.
    plain = with_hosts(demand.problem, hosts)
    found = _placed(plain, size(plain, SolveBudget(seed=budget.seed)), hosts, incumbent)
    assert found is not None  # the counts carry everybody, as the model has checked
    return found, False


def _placed(problem: Problem, sized: Sized, hosts: Ints, incumbent: Bools) -> Placement | None:
    """Place everybody with all ``hosts`` running, whether or not the model needed them."""
    counts = dataclasses.replace(sized.counts, hosts=hosts)
    return place(problem, dataclasses.replace(sized, counts=counts), incumbent, ("moves", "latency"))
