"""Cover: a plan that survives the loss of any one host, hub or zone, with a standby for every site that can have it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence

import numpy as np

from planner.fleet import Bools, Fleet, Ints
from planner.sizing.counts import Sized
from planner.sizing.cover.host_by_host import HostByHost, solve_host_by_host
from planner.sizing.cover.losses import Losses, read_losses
from planner.sizing.cover.sizing import sizings
from planner.sizing.cover.standby import find_standbys
from planner.sizing.draft import Draft
from planner.sizing.hosts import Seating, seat_all
from planner.sizing.model import Counts
from planner.sizing.placement import Later, Placement, placed
from planner.sizing.problem import Problem, group
from planner.sizing.search import spread
from planner.sizing.solver import Effort
from planner.sizing.today import Today
from planner.sizing.transport import Cost, Transport, least_cost_flow

__all__ = ["plan_covered"]

_MOST_ADDED = 3  # hosts that are tried on top, where standbys lack room that the counts seemed to have


def plan_covered(
    fleet: Fleet, problem: Problem, stays: Bools, then: Sequence[Later], today: Today, effort: Effort
) -> Draft:
    """Return the best plan that survives the losses of the policy's ``cover``.

    Homes and standbys of single sites are looked for under the counts and homes of classes. Where sites that stay
    together, or overlapping losses, leave no room although the sums say so, small fleets are planned host by host
    and larger ones with a host more.
    """
    losses = read_losses(fleet, problem)
    best: Draft | None = None
    for at, sized in enumerate(sizings(problem, losses, stays, then, effort, spread(problem, stays))):
        for trial in _carried_out(fleet, problem, losses, sized, stays, then, today, effort):
            if not trial.short:
                return trial
            best = best or trial
        exact = solve_host_by_host(problem, losses, effort) if at == 0 else None
        if exact is not None:
            return _as_covered(problem, exact, today)
        if at == _MOST_ADDED or effort.spent or sized.counts.unserved.any() or sized.uncovered:
            break
    assert best is not None
    return best


def _carried_out(
    fleet: Fleet,
    problem: Problem,
    losses: Losses,
    sized: Sized,
    stays: Bools,
    then: Sequence[Later],
    today: Today,
    effort: Effort,
) -> Iterator[Draft]:
    """Yield ways to seat everybody: first the one of fewest moves, then one that finds room for more standbys.

    Against the loss of a host, sites are dealt out over the hosts of their pool. Against larger losses, what stays free
    in a pool is gathered on one host, where sites of several clusters find it.
    """
    placement = placed(problem, sized, stays, then)
    deal = _where_to(problem, losses, sized, placement) if losses.kind == "host" else None
    for second in (False, True):
        mine, gathered = (deal, deal is None) if second else (None, False)
        seating = seat_all(fleet, problem, sized.counts.hosts, placement, today, effort, mine, gathered=gathered)
        standbys = find_standbys(problem, losses, seating, effort)
        short = standbys.without > sized.uncovered
        # What counts standbys says nothing of a plan in which somebody lacks one.
        told = dataclasses.replace(sized, evidence=None) if standbys.without else sized
        yield Draft(told, placement, seating, standbys.host, short=short)


def _where_to(problem: Problem, losses: Losses, sized: Sized, placement: Placement) -> Ints:
    """Return the pool that each site would go to if its own pool lost a host, by the row of all its hosts, shape (S,).

    When each host of a pool gets an equal share of the sites bound for each pool, none of them asks more than the
    row allows for all of them; see `planner.sizing.cover.rows`. -1 where nothing is to be dealt out.
    """
    bound_for = np.full(problem.sites, -1, dtype=np.int64)
    pool, hosts = problem.pool[placement.pair], sized.counts.hosts
    site = problem.site[placement.pair]
    load = np.bincount(pool, weights=placement.units, minlength=problem.pools).astype(np.int64)
    for p in np.flatnonzero(hosts > 1):
        m, mine = int(hosts[p]), site[pool == p]
        room = np.maximum(0, m * (losses.room * hosts - load))
        room[p] = max(0, m * (int(losses.room[p]) * (m - 1) - int(load[p])) + int(load[p]))
        pairs = np.flatnonzero(np.isin(problem.site, mine))
        row = np.searchsorted(np.sort(mine), problem.site[pairs])
        flow = least_cost_flow(
            Transport(row, problem.pool[pairs], problem.clusters[np.sort(mine)], room),
            [Cost((problem.pool[pairs] != p).astype(np.float64), 1.0), Cost(problem.rtt_ms[pairs], 1e-3)],
        )
        if flow is not None:
            used = np.flatnonzero(flow)
            bound_for[problem.site[pairs[used]]] = problem.pool[pairs[used]]
    return bound_for


def _as_covered(problem: Problem, exact: HostByHost, today: Today) -> Draft:
    """Return a host-by-host answer in the form of the other engine."""
    used = {seat.host for seat in exact.seats} | {standby for standby in exact.standbys if standby}
    names: dict[int, list[str]] = {}
    named: dict[str, str] = {}
    for key in sorted(used, key=lambda key: [int(part) for part in key.split("/")]):
        p = int(key.split("/")[0])
        mine = names.setdefault(p, [])
        named[key] = today.names[p][len(mine)]
        mine.append(named[key])
    seats = [dataclasses.replace(seat, host=named[seat.host]) for seat in exact.seats]
    hosts = np.zeros(problem.pools, dtype=np.int64)
    for p, mine in names.items():
        hosts[p] = len(mine)
    classes = group(problem, by_weight=True)
    none = np.zeros(classes.count, dtype=np.int64)
    counts = Counts(hosts, np.zeros(len(classes.pool)), none, none)
    pair = np.array([seat.pair for seat in seats], dtype=np.int64)
    standbys = tuple(named[key] if key else None for key in exact.standbys)
    bare = sum(int(problem.weights[seat.site]) for seat, key in zip(seats, standbys, strict=True) if key is None)
    return Draft(
        Sized(classes, counts, exact.value, exact.bound, True, exact.word, least={"covered": float(bare)}),
        Placement(pair, problem.clusters[problem.site[pair]], exact.unserved, exact.own, ()),
        Seating(seats, names),
        standbys,
    )
