"""Why sites are left out: no pool that they may use, or none with room for them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planner.arrays import int_array
from planner.fleet import Bools, Fleet, Ints
from planner.host_limits import HostLimit
from planner.plan import Reason, Unserved
from planner.rules import Checker
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.seating import Seat


def ineligible(fleet: Fleet, checker: Checker, problem: Problem) -> list[Unserved]:
    """Return the sites that need a host and have no eligible pool, each with every rule that keeps it out."""
    wanted = checker.needs_host.copy()
    wanted[problem.site_at] = False
    return [
        Unserved(fleet.site_ids[s], int(fleet.clusters[s]), checker.reasons(int(s)), checker.nearest_remedy(int(s)))
        for s in np.flatnonzero(wanted)
    ]


def crowded_out(
    fleet: Fleet, checker: Checker, problem: Problem, left_out: Bools, seats: Sequence[Seat]
) -> list[Unserved]:
    """Return the sites ``left_out`` (S,), whose eligible pools are full of sites of at least the same worth."""
    found = []
    pool_of_host = int_array([pool for _, pool in {(seat.host, seat.pool) for seat in seats}])
    running = np.bincount(pool_of_host, minlength=problem.pools)
    for s in np.flatnonzero(left_out):
        pools = problem.pool[problem.pairs_of(int(s))]
        names = ", ".join(fleet.pool_ids[problem.pool_at[p]] for p in pools)
        room = int((problem.max_hosts[pools] * problem.caps[pools]).sum())
        hosts = int(problem.max_hosts[pools].sum())
        detail = f"its eligible pools {names} have at most {hosts} hosts for {room} clusters; other sites fill them"
        reached = _reached(problem, seats, int(s), pools)
        growing = running.copy()
        growing[pools] += 1
        reached += [limit.said() for limit in problem.host_limits if _stops(limit, growing, pools)]
        if reached:
            detail += f"; with this site they would exceed {', '.join(reached)}"
        site = int(problem.site_at[s])
        found.append(
            Unserved(
                fleet.site_ids[site],
                int(fleet.clusters[site]),
                (Reason("capacity", detail),),
                f"Raise {reached[0]}, or make another hub eligible for this site."
                if reached
                else checker.nearest_remedy(site),
            )
        )
    return found


def _stops(limit: HostLimit, growing: Ints, pools: Ints) -> bool:
    """Say whether a limit stops one more host at some of ``pools``; ``growing`` (P,) has it at all of them."""
    inside = np.isin(limit.pools, pools)
    before = limit.taken(growing) - int(limit.each[inside].sum())
    return bool((before + limit.each[inside] > limit.most).any())


def _reached(problem: Problem, seats: Sequence[Seat], s: int, pools: Ints) -> list[str]:
    """Return the limits at ``pools`` that site ``s`` would break on top of ``seats``, each in a few words."""
    site, pool = (int_array([getattr(seat, name) for seat in seats]) for name in ("site", "pool"))
    clusters = np.array([seat.clusters for seat in seats], dtype=np.float64)
    share = clusters / problem.clusters[site]
    found = []
    for limit in problem.limits:
        each = problem.amounts[limit.measure]
        used = float((each[site] * share)[limit.pools[pool]].sum())
        if limit.pools[pools].any() and used + each[s] > limit.most * (1 + 1e-9):
            found.append(limit.said())
    if problem.host_weight is not None:
        # A host has room for its clusters, but not for its weight.
        names = np.array([seat.host for seat in seats], dtype=np.str_)
        _, first, host = np.unique(names, return_index=True, return_inverse=True)
        load, carried = (np.bincount(host, weights=w) for w in (clusters, problem.weights[site] * share))
        room = problem.caps[pool[first]] >= load + problem.items[s]
        multi_cluster = carried + problem.item_weight[s] > problem.host_weight * (1 + 1e-9)
        found += ["max_share_percent"] if (np.isin(pool[first], pools) & room & multi_cluster).any() else []
    return found
