"""From counts and placement to the Plan: named hosts, assignments, reasons for who is left out, proof in words."""

from __future__ import annotations

import dataclasses
import math
from typing import Required, TypedDict

import numpy as np

from planner.fleet import Finding, Fleet
from planner.identity import fleet_id
from planner.latency import EVIDENCE, estimate_range_ms
from planner.plan import (
    Action,
    Aim,
    Assignment,
    Evidence,
    Host,
    NoHostNeeded,
    Plan,
    Reason,
    Uncovered,
    Unserved,
)
from planner.rules import Checker
from planner.sizing.instance.case import Case
from planner.sizing.instance.problem import Problem
from planner.sizing.left_out import crowded_out, ineligible
from planner.sizing.proof import prove
from planner.sizing.solution.attained import Attained
from planner.sizing.solution.counts import Sized
from planner.sizing.solution.draft import Draft
from planner.sizing.solution.placement import Placement
from planner.sizing.solution.seating import Seat
from planner.sizing.solution.served_aims import Worth, aims_of_worth
from planner.sizing.solvers.budget import SolveBudget
from planner.today import Today
from planner.version import VERSION


class RoundTrip(TypedDict, total=False):
    """Fields of an `Assignment`."""

    rtt_ms: Required[float]
    evidence: Required[Evidence]
    measured_at: str
    rtt_low_ms: float
    rtt_high_ms: float


def assemble(case: Case, checker: Checker, draft: Draft, attained: tuple[Attained, ...], budget: SolveBudget) -> Plan:
    """Return the Plan; everything in it is in order of ids."""
    fleet = case.fleet
    problem = case.problem
    today = case.today
    sized, placement = draft.sized, draft.placement
    hosts, assignments = hosts_and_assignments(case, draft)
    sized = _recounted(fleet, problem, sized, placement, hosts)
    uncovered = _uncovered(fleet, problem, draft)
    least = _least(fleet, problem, draft)
    given = _given(fleet)
    with_own = problem.site_at[placement.own]
    spared = no_host_needed(fleet, {fleet.site_ids[at] for at in with_own})
    crowded = crowded_out(fleet, checker, problem, placement.unserved, draft.seating.seats)
    left_out = (*ineligible(fleet, checker, problem), *crowded)
    today_of = {one.site: _today_at(today, one.site) for one in left_out}
    unserved = [dataclasses.replace(one, current=today_of[one.site]) for one in left_out]
    recounted = dataclasses.replace(draft, sized=sized)
    proof, bound = prove(fleet, problem, recounted, budget)
    sized = dataclasses.replace(sized, bound=bound)
    made = Plan(
        status="feasible",
        objective=fleet.policy.objective,
        objective_value=sized.value,
        lower_bound=sized.bound,
        host_list=tuple(hosts),
        assignments=tuple(assignments),
        unserved=tuple(sorted(unserved, key=_site)),
        no_host_needed=spared,
        uncovered=uncovered,
        proof=proof,
        before=aims_of_worth(fleet, set(map(_site, unserved)), set(map(_site, uncovered)), least),
        then=tuple(Aim(one.aim, one.value, one.bound, one.proven) for one in attained),
        findings=(*fleet.findings, *given),
        policy=dataclasses.asdict(fleet.policy),
        sources=fleet.sources,
        version=VERSION,
        fleet_id=fleet_id(fleet),
        emptied=fleet.emptied,
    )
    return made.rated()


def _site(entry: Unserved | Uncovered | NoHostNeeded) -> str:
    return entry.site


def _today_at(today: Today, site: str) -> str | None:
    """Return the host of a site today, or its hub where the host is not named."""
    return today.host.get(site) or today.hub.get(site) or None


def _least(fleet: Fleet, problem: Problem, draft: Draft) -> dict[Worth, float]:
    """Return the least weight, in whole units, that any plan leaves out, and that one which does so leaves bare."""
    sized, left_out = draft.sized, draft.placement.unserved
    no_way = fleet.needs_host.copy()
    no_way[problem.site_at] = False
    weight, kept = fleet.whole_weights, problem.kept
    of_kept = problem.weights[left_out & kept].sum()
    of_all = problem.weights[left_out].sum()
    if not sized.weight_proven:
        of_kept = sized.least.get("kept_served", 0.0)
        of_all = sized.least.get("served", 0.0)
    least = sized.least.get("covered", 0.0)
    if not left_out.any() and fleet.policy.cover != "none":
        from planner.sizing.cover.losses import read_losses

        losses = read_losses(fleet, problem)
        can = losses.coverable(problem.indptr, problem.pool, problem.max_hosts)
        never = ~can & ~problem.may_own  # they are served in every such plan, and have no standby in any
        least = max(least, float(problem.weight_of(never)))
    of_kept += weight[no_way & fleet.kept].sum()
    of_all += weight[no_way].sum()
    return {"kept_served": float(of_kept), "served": float(of_all), "covered": least}


def hosts_and_assignments(case: Case, draft: Draft) -> tuple[list[Host], list[Assignment]]:
    """Return the hosts that run and who uses which, in order of site and host."""
    hosts = _hosts(case, draft)
    known = case.today.named
    running = [host for host in hosts if host.existing or host.host in known]
    runs = {host.host for host in running}
    pairs = zip(draft.seating.seats, draft.standbys, strict=True)
    assignments = [_assignment(case, draft.seating.pool_of, runs, *pair) for pair in pairs]
    assignments.sort(key=lambda a: (a.site, a.host, a.standby or ""))
    return hosts, assignments


def _recounted(fleet: Fleet, problem: Problem, sized: Sized, placement: Placement, hosts: list[Host]) -> Sized:
    """Return ``sized`` with its value added up from the plan itself: hosts that carry nothing are not in it."""
    if problem.objective == "hosts":
        value = float(len(hosts))
    elif problem.objective == "new_hosts":
        value = float(sum(not host.existing for host in hosts))
    else:
        pools = [fleet.pool_ids[at] for at in problem.pool_at]
        price = dict(zip(pools, problem.host_cost, strict=True))
        prices = [price[host.pool] for host in hosts]
        pairs = problem.pair_cost[placement.pair]
        own = problem.own_cost[placement.own]
        value = math.fsum((*prices, *pairs, *own))
    # A proven value stays proven when adding up in another order moves its last digits.
    last_digits = 1e-9 * max(1.0, abs(value))
    same = abs(value - sized.value) <= last_digits
    proven = same and sized.bound >= sized.value
    bound = value if proven else min(sized.bound, value)
    return dataclasses.replace(sized, value=value, bound=bound)


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
    before = _today_at(today, site)
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
    return tuple(sorted(found.values(), key=_site))


def no_host_needed(fleet: Fleet, chosen: set[str]) -> tuple[NoHostNeeded, ...]:
    """Return the sites that need no shared host, with those that have ``chosen`` their own tie-breaker."""
    found = []
    for site, clusters, own in zip(fleet.site_ids, fleet.clusters, fleet.own_tie_breaker, strict=True):
        if clusters == 0:
            found.append(NoHostNeeded(site, "no_clusters"))
        elif own == "yes" or site in chosen:
            found.append(NoHostNeeded(site, "own_tie_breaker"))
    return tuple(sorted(found, key=_site))


def _given(fleet: Fleet) -> list[Finding]:
    """Return a finding for each thing that the caller gave, so that all who read the plan know."""
    told = [f"Rule {rule.name} is your own; it limits which sites may use which hosts." for rule in fleet.own_rules]
    named = fleet.policy.then.replace(",", " ").split()
    for aim in fleet.own_aims:
        if aim.name in named:
            told.append(f"Aim {aim.name} is your own; it chooses between equally good plans.")
        else:
            unused = 'the setting "then" does not name it, so the plan does not use it.'
            told.append(f"Aim {aim.name} is your own; {unused}")
    for source in fleet.own_sources:
        told.append(f"Source {source.name} is your own; its round-trip times are marked {source.evidence}.")
    hint = "Use the same rules and sources when you check the plan."
    return [Finding("info", "given_by_caller", "", words, hint) for words in told]
