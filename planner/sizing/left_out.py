"""Why sites are left out: no pool that they may use, or none with room for them."""

from __future__ import annotations

from collections.abc import Sequence
from operator import attrgetter

import numpy as np

from planner.arrays import int_array
from planner.fleet import Bools, Ints
from planner.host_limits import HostLimit
from planner.plan import Reason, Unserved
from planner.rules import Checker
from planner.sizing.instance.case import Case
from planner.sizing.instance.problem import Problem
from planner.sizing.solution.seating import Seat
from planner.sizing.solution.taken import Taken

_NOT_DUST = 1 + 1e-9  # times a limit is above it, and not only in the last digits of a sum


def left_out(case: Case, checker: Checker, unserved: Bools, seats: Sequence[Seat]) -> tuple[Unserved, ...]:
    """Return the sites that need a host and have none, in order of ids: those ``unserved`` (S,), and without a pool."""
    crowded = _crowded_out(case, checker, unserved, seats)
    found = [*_ineligible(case, checker), *crowded]
    return tuple(sorted(found, key=attrgetter("site")))


def _ineligible(case: Case, checker: Checker) -> list[Unserved]:
    """Return the sites that need a host and have no eligible pool, each with every rule that keeps it out."""
    wanted = checker.needs_host.copy()
    wanted[case.problem.site_at] = False
    sites = np.flatnonzero(wanted).tolist()
    return [_unserved(case, s, checker.reasons(s), checker.nearest_remedy(s)) for s in sites]


def _unserved(case: Case, s: int, reasons: tuple[Reason, ...], remedy: str) -> Unserved:
    fleet = case.fleet
    site = fleet.site_ids[s]
    clusters = int(fleet.clusters[s])
    return Unserved(site, clusters, reasons, remedy, case.today.at(site))


def _crowded_out(case: Case, checker: Checker, unserved: Bools, seats: Sequence[Seat]) -> list[Unserved]:
    """Return the sites ``unserved`` (S,), whose eligible pools are full of sites of at least the same worth."""
    if not unserved.any():
        return []
    fleet = case.fleet
    problem = case.problem
    found = []
    taken = Taken(problem, seats)
    pool_of_host = {seat.host: seat.pool for seat in seats}
    running = np.bincount(int_array(list(pool_of_host.values())), minlength=problem.pools)
    for s in np.flatnonzero(unserved).tolist():
        pools = problem.pool[problem.pairs_of(s)]
        names = ", ".join(fleet.pool_ids[at] for at in problem.pool_at[pools])
        hosts = problem.max_hosts[pools]
        room = hosts @ problem.caps[pools]
        detail = f"its eligible pools {names} have at most {hosts.sum()} hosts for {room} clusters"
        detail += "; other sites fill them"
        reached = _reached(problem, taken, s, pools)
        growing = running.copy()
        growing[pools] += 1
        reached += [limit.said() for limit in problem.host_limits if _stops(limit, growing, pools)]
        site = int(problem.site_at[s])
        remedy = checker.nearest_remedy(site)
        if reached:
            detail += f"; with this site they would exceed {', '.join(reached)}"
            remedy = f"Raise {reached[0]}, or make another hub eligible for this site."
        found.append(_unserved(case, site, (Reason("capacity", detail),), remedy))
    return found


def _stops(limit: HostLimit, growing: Ints, pools: Ints) -> bool:
    """Say whether a limit stops one more host at some of ``pools``; ``growing`` (P,) has it at all of them."""
    inside = np.isin(limit.pools, pools)
    one_more = limit.each[inside]
    before = limit.taken(growing) - one_more.sum()
    return bool((before + one_more > limit.most).any())


def _reached(problem: Problem, taken: Taken, s: int, pools: Ints) -> list[str]:
    """Return the limits at ``pools`` that site ``s`` would break on top of what is ``taken``, each in a few words."""
    found = []
    for limit, used in zip(problem.limits, taken.used, strict=True):
        more = problem.amounts[limit.measure][s]
        if limit.pools[pools].any() and used + more > limit.most * _NOT_DUST:
            found.append(limit.said())
    if problem.host_weight is not None and _too_heavy(problem, taken, s, pools, problem.host_weight):
        found.append("max_share_percent")
    return found


def _too_heavy(problem: Problem, taken: Taken, s: int, pools: Ints, most: float) -> bool:
    """Say whether some host at ``pools`` has room for the clusters of site ``s``, but not for its weight."""
    room = problem.caps[taken.pool] >= taken.load + problem.items[s]
    too_heavy = taken.carried + problem.item_weight[s] > most * _NOT_DUST
    return bool((np.isin(taken.pool, pools) & room & too_heavy).any())
