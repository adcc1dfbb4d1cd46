"""Do objective, bound and status follow from the rest of the plan, and is it a plan for this fleet?"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

from planner.verify.case import Case
from planner.verify.violation import RELATIVE_TOLERANCE, Violation, differs, number


def check_totals(case: Case) -> Iterator[Violation]:
    """Check the figures that sum the plan up."""
    value = _objective(case)
    if math.isnan(value):
        yield Violation("objective", "plan", f"the objective {case.plan.objective!r} cannot be added up: {_gaps(case)}")
    elif differs(case.plan.objective_value, value):
        text = (
            f"the plan says {case.plan.objective_value} for {case.plan.objective}; added up again, it is {value:.12g}"
        )
        yield Violation("objective", "plan", text)
    yield from _bound(case, value)
    yield from _status(case)
    yield from _input(case)


def _objective(case: Case) -> float:
    """Return the plan's objective, added up anew; NaN where a price is unknown."""
    pools = case.inventory.pools
    running = Counter(host.pool for host in case.plan.host_list)
    if case.plan.objective == "hosts":
        return float(len(case.plan.host_list))
    if case.plan.objective == "new_hosts" and case.other_input:  # some of them may run by now
        return float(sum(not host.existing for host in case.plan.host_list))
    if case.plan.objective == "new_hosts":
        existing = {name: pools[name].existing_hosts if name in pools else 0 for name in running}
        return float(sum(max(0, count - existing[name]) for name, count in running.items()))
    if case.plan.objective == "cost":
        return math.fsum((*_host_costs(case).values(), *_pair_costs(case), *_own_costs(case).values()))
    return math.nan


def _host_costs(case: Case) -> dict[str, float]:
    """Return the price of the running hosts of each pool; NaN where unknown."""
    pools = case.inventory.pools
    running = Counter(host.pool for host in case.plan.host_list)
    return {name: count * pools[name].host_cost for name, count in running.items() if name in pools}


def _pair_costs(case: Case) -> list[float]:
    """Return the circuit cost of each site and hub that are used together, once each."""
    used = {(row.site, pool.hub) for row in case.plan.assignments if (pool := case.pool_of(row.host)) is not None}
    known = (case.inventory.pairs.get(site, hub) for site, hub in used)
    return [pair.pair_cost for pair in known if pair is not None]


def _own_costs(case: Case) -> dict[str, float]:
    """Return the price of each own tie-breaker that the plan chose; NaN where unknown."""
    sites = (case.inventory.sites.get(entry.site) for entry in case.plan.no_host_needed)
    chosen = (site for site in sites if site is not None and site.needs_host and site.own_tie_breaker == "possible")
    return {site.site: site.own_cost for site in chosen}


def _gaps(case: Case) -> str:
    pools = [f"host_cost of pool {name}" for name, cost in _host_costs(case).items() if math.isnan(cost)]
    sites = [f"own_tie_breaker_cost of site {name}" for name, cost in _own_costs(case).items() if math.isnan(cost)]
    unknown = [*pools, *sites]
    return f"fill in {', '.join(unknown[:3])}" if unknown else "known objectives are hosts, new_hosts and cost"


def _bound(case: Case, value: float) -> Iterator[Violation]:
    bound = number(case.plan.lower_bound)
    value = number(case.plan.objective_value) if math.isnan(value) else value
    if not bound <= value + RELATIVE_TOLERANCE * abs(value):
        text = (
            f"the plan says that any plan needs at least {case.plan.lower_bound}, but it needs only {value:.12g} itself"
        )
        yield Violation("bound", "plan", text)


def _status(case: Case) -> Iterator[Violation]:
    plan = case.plan
    if plan.status not in ("optimal", "feasible"):
        yield Violation("status", "plan", f"its status is {plan.status!r}; it must be optimal or feasible")
    unproven = [str(aim.aim) for aim in plan.before if not aim.proven]
    if plan.status == "optimal" and unproven:
        yield Violation("status", "plan", f"its status is optimal, but its aim {', '.join(unproven)} is not proven")
    value, bound = number(plan.objective_value), number(plan.lower_bound)
    if plan.status == "optimal" and not value - bound <= RELATIVE_TOLERANCE * abs(value):
        yield Violation(
            "status",
            "plan",
            f"its status is optimal, but {plan.objective} is {value:.12g} and the lower bound {bound:.12g}",
        )


def _input(case: Case) -> Iterator[Violation]:
    """Note a plan that was made from other files or for another objective; every rule is checked all the same."""
    if case.other_input:
        names = ", ".join(str(source.name) for source in case.plan.sources)
        yield Violation("other_input", "plan", f"it was made from other input files than this fleet ({names})", "note")
    if case.plan.objective != case.inventory.policy.objective:
        text = f"its objective is {case.plan.objective}; the fleet's policy says {case.inventory.policy.objective}"
        yield Violation("other_input", "plan", text, "note")
