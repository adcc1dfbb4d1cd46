"""The plan with the fewest moves between hosts among those with a few hosts more than the fewest."""

from __future__ import annotations

import dataclasses

import numpy as np

from planner.arrays import Ints, inverse, positions
from planner.counted_words import counted
from planner.fleet import Finding, Fleet
from planner.plan import Aim, Plan, Unserved, moved_sites
from planner.rules import Checker
from planner.sizing.from_today.by_host import ByHost, by_host, folded
from planner.sizing.from_today.move_model import MoveModel, Named
from planner.sizing.instance.case import later_aims
from planner.sizing.instance.problem import Problem, build_problem
from planner.sizing.left_out import crowded_out
from planner.sizing.solution.seating import Seat
from planner.sizing.solvers.budget import SolveBudget

_SEARCH_S = 20.0  # for the fewest moves
_THOROUGH = 10  # times as long
_MOST_PAIRS = 200_000  # of sites and single hosts, beyond which building the model takes longer than the search may


def search_seconds(*, thorough: bool) -> float:
    """Return how long the fewest moves may be searched for, in seconds: ten times as long if ``thorough``."""
    return _SEARCH_S * (_THOROUGH if thorough else 1)


def fewer_moves(fleet: Fleet, first: Plan, extra_hosts: int, budget: SolveBudget) -> Plan:
    """Return the plan with the fewest moves that may use ``extra_hosts`` more than ``first``, and else is as good.

    It is looked for by a mixed-integer model of single hosts, where moves are the first of the aims among equals and
    ``first`` moves somebody. Its bound on moves is that of the model. Where that does not know the case, ``first``
    comes back with a finding.
    """
    lead = later_aims(fleet)[:1] == ("moves",)
    if not lead or not extra_hosts or not moved_sites(fleet, first):
        return first
    why = _not_modelled(fleet, first, budget)
    split = None if why else by_host(fleet)
    if split is not None and len(fleet.site_ids) * len(split.fleet.pool_ids) > _MOST_PAIRS:
        why = "the fleet is too large for the model of single hosts"
    if split is not None and split.cut:
        why = "more hosts run today than fit"
    if split is None or why:
        return _without_more(first, why, extra_hosts)
    model = MoveModel(split, first)
    with budget.listening():
        found = model.solve(first.hosts + extra_hosts, budget)
        if found.sized is None:
            return _without_more(first, "no plan was found in time", extra_hosts)
        named = model.named(found.sized, budget)
    proven = named.moves <= found.bound
    level = Aim("moves", float(named.moves), float(found.bound), proven)
    second = _carried_out(split, first, named)
    return second.replace(objective_value=float(second.hosts), then=(level,)).rated()


def _not_modelled(fleet: Fleet, plan: Plan, budget: SolveBudget) -> str:
    """Return why the model of fewest moves does not know the case; "" where it does."""
    if budget.stopped.is_set():
        return "the search was interrupted"
    if budget.spent:
        return "time was up"
    if fleet.policy.split_sites:
        return "sites may be split over hosts"
    if not plan.proves(plan.objective):
        return "the number of hosts is not proven to be the fewest"
    if plan.objective != "hosts":
        return f"the objective is {plan.objective}"
    return "" if fleet.policy.cover == "none" else f"the policy asks for cover {fleet.policy.cover}"


def _without_more(plan: Plan, why: str, extra_hosts: int) -> Plan:
    """Return ``plan`` with a finding that further hosts were not tried."""
    words = f"Whether {counted(extra_hosts, 'more host')} would save moves was not tried, since {why}."
    warning = Finding("warning", "extra_hosts_unused", "Current", words)
    return plan.replace(findings=(*plan.findings, warning))


def _carried_out(split: ByHost, first: Plan, named: Named) -> Plan:
    """Return ``first`` with the hosts and assignments of ``named``, and who is left out in them."""
    changed = {"host_list": named.hosts, "assignments": named.assignments, "no_host_needed": named.no_host_needed}
    plan = folded(split, first.replace(**changed))
    problem = build_problem(split.original, Checker.of(split.original))
    sought = {split.original.site_ids[at] for at in problem.site_at}
    never = [one for one in first.unserved if one.site not in sought]
    if named.left_out == sought.intersection(map(_site, first.unserved)):
        return plan
    crowded = _crowded_out(split.original, problem, plan, named)
    unserved = sorted((*never, *crowded), key=_site)
    return plan.replace(unserved=tuple(unserved))


def _site(one: Unserved) -> str:
    return one.site


def _crowded_out(fleet: Fleet, problem: Problem, plan: Plan, named: Named) -> list[Unserved]:
    """Return the sites that find no room in ``plan``, with their reasons in terms of the fleet's pools."""
    site, pool = _positions(fleet, problem, plan)
    places = zip(site.tolist(), pool.tolist(), plan.assignments, strict=True)
    seats = [Seat(s, -1, p, row.host, row.clusters) for s, p, row in places]
    ids = [fleet.site_ids[at] for at in problem.site_at]
    out = np.isin(ids, list(named.left_out))
    current = fleet.current[["site", "hub", "host"]]
    today = {site: host or hub for site, hub, host in current.itertuples(index=False)}
    found = crowded_out(fleet, Checker.of(fleet), problem, out, seats)
    return [dataclasses.replace(one, current=today.get(one.site)) for one in found]


def _positions(fleet: Fleet, problem: Problem, plan: Plan) -> tuple[Ints, Ints]:
    """Return site and pool of each assignment, as positions in ``problem``."""
    pool_of = {host.host: host.pool for host in plan.host_list}
    site = positions([row.site for row in plan.assignments], fleet.site_ids)
    pools = [pool_of[row.host] for row in plan.assignments]
    pool = positions(pools, fleet.pool_ids)
    of_site = inverse(problem.site_at, len(fleet.site_ids))
    of_pool = inverse(problem.pool_at, len(fleet.pool_ids))
    return of_site[site], of_pool[pool]
