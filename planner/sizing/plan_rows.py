"""What a Plan lists: named hosts, who uses which, and who has none, or no standby, with the reasons."""

from __future__ import annotations

from operator import attrgetter
from typing import Required, TypedDict

import numpy as np

from planner.fleet import Fleet
from planner.latency import EVIDENCE, estimate_range_ms
from planner.plan import Action, Assignment, Evidence, Host, NoHostNeeded, Reason, Uncovered, Unserved
from planner.rules import Checker
from planner.sizing.instance.case import Case
from planner.sizing.instance.problem import Problem
from planner.sizing.left_out import left_out
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.seating import Seat


class PlanRows(TypedDict):
    """Fields of a `Plan`: its lists."""

    host_list: tuple[Host, ...]
    assignments: tuple[Assignment, ...]
    unserved: tuple[Unserved, ...]
    no_host_needed: tuple[NoHostNeeded, ...]
    uncovered: tuple[Uncovered, ...]


class RoundTrip(TypedDict, total=False):
    """Fields of an `Assignment`."""

    rtt_ms: Required[float]
    evidence: Required[Evidence]
    measured_at: str
    rtt_low_ms: float
    rtt_high_ms: float


def rows_of(case: Case, checker: Checker, draft: Draft) -> PlanRows:
    """Return what a plan lists: hosts, who uses which, and who has none, or no standby, with the reasons."""
    fleet = case.fleet
    problem = case.problem
    placement = draft.placement
    hosts, assignments = _hosts_and_assignments(case, draft)
    with_own = problem.site_at[placement.own]
    return PlanRows(
        host_list=tuple(hosts),
        assignments=tuple(assignments),
        no_host_needed=_no_host_needed(fleet, {fleet.site_ids[at] for at in with_own}),
        uncovered=_uncovered(fleet, problem, draft),
        unserved=left_out(case, checker, placement.unserved, draft.seating.seats),
    )


def _hosts_and_assignments(case: Case, draft: Draft) -> tuple[list[Host], list[Assignment]]:
    """Return the hosts that run and who uses which, in order of site and host."""
    hosts = _hosts(case, draft)
    known = case.today.named
    running = [host for host in hosts if host.existing or host.host in known]
    runs = {host.host for host in running}
    pairs = zip(draft.seating.seats, draft.standbys, strict=True)
    assignments = [_assignment(case, draft.seating.pool_of, runs, *pair) for pair in pairs]
    assignments.sort(key=lambda a: (a.site, a.host, a.standby or ""))
    return hosts, assignments


def _hosts(case: Case, draft: Draft) -> list[Host]:
    """Return the hosts that carry something or stand by, pool by pool."""
    fleet = case.fleet
    problem = case.problem
    today = case.today
    seats = draft.seating.seats
    needed = draft.used
    loads: dict[int, dict[str, int]] = {}
    for p, names in draft.seating.names.items():
        loads[p] = {name: 0 for name in names if name in needed}
    for seat in seats:
        loads[seat.pool][seat.host] += seat.clusters
    hosts: list[Host] = []
    for p, load in sorted(loads.items()):
        pool = int(problem.pool_at[p])
        carrying = [name for name in today.names[p] if name in load]
        existing = today.existing(p, int(problem.existing[p]), load)
        hub = fleet.hub_ids[fleet.hub_of_pool[pool]]
        cap = int(fleet.cluster_caps[pool])
        usable = int(problem.caps[p])
        for name in carrying:
            host = Host(
                host=name,
                hub=hub,
                pool=fleet.pool_ids[pool],
                release=fleet.host_releases[pool],
                clusters=load[name],
                cap=cap,
                usable=usable,
                existing=name in existing,
            )
            hosts.append(host)
    return hosts


def _assignment(case: Case, pool_of: dict[str, int], runs: set[str], seat: Seat, standby: str | None) -> Assignment:
    fleet = case.fleet
    problem = case.problem
    today = case.today
    at = int(problem.site_at[seat.site])
    pair = seat.pair
    host = seat.host
    hub = fleet.hub_ids[problem.hub[seat.pool]]
    site = fleet.site_ids[at]
    before = today.at(site)
    action: Action = "attach"
    if before is not None:
        pool = fleet.pool_ids[problem.pool_at[seat.pool]]
        stays = today.keeps(site, host, pool, runs=host in runs)
        action = "keep" if stays else "move"
    return Assignment(
        site=site,
        host=host,
        hub=hub,
        clusters=seat.clusters,
        budget_ms=float(fleet.budgets_ms[at]),
        standby=standby,
        moved_from=before if action == "move" else None,
        action=action,
        standby_rtt_ms=None if standby is None else _rtt_of(problem, seat.site, pool_of[standby]),
        **round_trip(problem, pair),
    )


def round_trip(problem: Problem, pair: int) -> RoundTrip:
    """Return what is known of the round-trip time of a pair: its evidence, with the date or the range of that."""
    rtt_ms = float(problem.rtt_ms[pair])
    moment = problem.round_trips.measured_at[pair]
    evidence = EVIDENCE[problem.round_trips.evidence[pair]]
    known: RoundTrip = {"rtt_ms": rtt_ms, "evidence": evidence}
    if known["evidence"] == "estimated":
        low, high = estimate_range_ms(rtt_ms)
        return {**known, "rtt_low_ms": low, "rtt_high_ms": high}
    if np.isnat(moment):
        return known
    return {**known, "measured_at": str(moment.astype("datetime64[s]"))}


def _rtt_of(problem: Problem, site: int, pool: int) -> float:
    pairs = problem.pairs_of(site)
    at_pool = problem.pool[pairs] == pool
    return float(problem.rtt_ms[pairs][at_pool][0])


def _uncovered(fleet: Fleet, problem: Problem, draft: Draft) -> tuple[Uncovered, ...]:
    """Return the seated sites without standby where the policy asks for cover, each with the reason."""
    kind = fleet.policy.cover
    if kind == "none":
        return ()
    from planner.sizing.cover.losses import read_losses

    losses = read_losses(fleet, problem)
    coverable = losses.coverable_sites(problem)
    found: dict[str, Uncovered] = {}
    for seat, standby in zip(draft.seating.seats, draft.standbys, strict=True):
        if standby is not None:
            continue
        whom = "all of its clusters" if problem.split else "it"
        pools = problem.pool[problem.pairs_of(seat.site)]
        names = ", ".join(fleet.pool_ids[at] for at in problem.pool_at[pools])
        if coverable[seat.site]:
            reason = Reason("cover_capacity", f"after the loss of its {kind}, no host of {names} has room for {whom}")
        else:
            reason = Reason("cover_place", f"the loss of one {kind} takes down all that it can use: {names}")
        site = fleet.site_ids[problem.site_at[seat.site]]
        found[site] = Uncovered(site, (reason,))
    return tuple(sorted(found.values(), key=attrgetter("site")))


def _no_host_needed(fleet: Fleet, chosen: set[str]) -> tuple[NoHostNeeded, ...]:
    """Return the sites that need no shared host, with those that have ``chosen`` their own tie-breaker."""
    found = []
    for site, clusters, own in zip(fleet.site_ids, fleet.clusters, fleet.own_tie_breaker, strict=True):
        if clusters == 0:
            found.append(NoHostNeeded(site, "no_clusters"))
        elif own == "yes" or site in chosen:
            found.append(NoHostNeeded(site, "own_tie_breaker"))
    return tuple(sorted(found, key=attrgetter("site")))
