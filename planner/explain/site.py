"""One site against every pool: eligible or why not, and where the plan serves it."""

from __future__ import annotations

import difflib
import math

import numpy as np

from planner.errors import InputError
from planner.explain.explanation import PoolView, SiteView
from planner.fleet import Finding, Fleet
from planner.latency import EVIDENCE, estimate_range_ms
from planner.plan import Plan, Reason
from planner.rules import RULES, Checker, Pairs


def view_site(fleet: Fleet, checker: Checker, plan: Plan, site: str) -> SiteView:
    """Return ``site`` against every pool of ``fleet``; InputError naming similar ids where there is no such site."""
    at = position_of(fleet, site)
    site = fleet.site_ids[at]
    assignments = tuple(a for a in plan.assignments if a.site == site)
    unserved = next((u for u in plan.unserved if u.site == site), None)
    budget = float(fleet.budgets_ms[at])
    return SiteView(
        site=site,
        clusters=int(fleet.clusters[at]),
        release=fleet.site_releases[at],
        budget_ms=budget if math.isfinite(budget) else None,
        pools=_pools(fleet, checker, plan, at, {a.host for a in assignments}),
        assignments=assignments,
        unserved=unserved,
        words=_in_words(plan, site),
    )


def position_of(fleet: Fleet, site: str) -> int:
    """Return the position of ``site`` in the fleet's tables; InputError naming similar ids where there is none.

    Where no id is just that, one will do that differs only by leading zeros, or bears that name.
    """
    if site in fleet.site_ids:
        return fleet.site_ids.index(site)
    alike = [at for at, name in enumerate(fleet.site_ids) if _without_zeros(name) == _without_zeros(site)]
    if len(alike) == 1:
        return alike[0]
    called = [at for at, name in enumerate(fleet.sites["name"].tolist()) if name and name.casefold() == site.casefold()]
    if len(called) == 1:
        return called[0]
    folded = {name.casefold(): name for name in fleet.site_ids}
    close = [folded[name] for name in difflib.get_close_matches(site.casefold(), folded, n=4, cutoff=0.5)]
    hint = f"Did you mean {' or '.join(close)}?" if close else "Ids are those of column site, leading zeros included."
    raise InputError((Finding("error", "site_unknown", "Sites", f'there is no site "{site}".', hint),))


def _without_zeros(name: str) -> str:
    """Return an id without the leading zeros that a spreadsheet takes from a number: 0024 and 24 are one."""
    return name.lstrip("0") if name.isdecimal() else name


def _pools(fleet: Fleet, checker: Checker, plan: Plan, at: int, serving: set[str]) -> tuple[PoolView, ...]:
    pairs = checker.against(at)
    reasons: list[list[Reason]] = [[] for _ in range(len(pairs))]
    for rule in (*RULES, *checker.own):
        for x in np.flatnonzero(rule.broken(checker.facts, pairs)).tolist():
            reasons[x].append(Reason(rule.code, rule.why(checker.facts, pairs.take(np.array([x])))))
    return tuple(_view(fleet, plan, pairs, x, tuple(why), serving) for x, why in enumerate(reasons))


def _view(fleet: Fleet, plan: Plan, pairs: Pairs, x: int, why: tuple[Reason, ...], serving: set[str]) -> PoolView:
    pool = fleet.pool_ids[pairs.pool[x]]
    hosts = [host for host in plan.host_list if host.pool == pool]
    known = bool(np.isfinite(pairs.rtt_ms[x]))
    estimated = EVIDENCE[pairs.evidence[x]] == "estimated"
    return PoolView(
        pool=pool,
        hub=fleet.hub_ids[fleet.hub_of_pool[pairs.pool[x]]],
        eligible=not why,
        rtt_ms=float(pairs.rtt_ms[x]) if known else None,
        evidence=EVIDENCE[pairs.evidence[x]] if known else None,
        measured_at=None if np.isnat(pairs.measured_at[x]) else str(pairs.measured_at[x].astype("datetime64[s]")),
        range_ms=estimate_range_ms(float(pairs.rtt_ms[x])) if known and estimated else None,
        reasons=why,
        hosts=len(hosts),
        clusters=sum(host.clusters for host in hosts),
        room=sum(host.usable for host in hosts),
        serves=any(host.host in serving for host in hosts),
    )


def _in_words(plan: Plan, site: str) -> str:
    """Say what the plan does with the site."""
    spared = next((n.why for n in plan.no_host_needed if n.site == site), None)
    if spared is not None:
        why = {"own_tie_breaker": "it has its own tie-breaker", "no_clusters": "it has no clusters"}[spared]
        return f"Site {site} needs no shared host: {why}."
    served = (
        f"Served by {a.host} at {a.hub}: {a.rtt_ms:g} ms ({a.evidence}), {a.margin_ms:.3g} ms within its budget."
        for a in plan.assignments
        if a.site == site
    )
    parts = list(dict.fromkeys(served))  # parts of a site on one host differ in their standbys
    for left in plan.unserved:
        if left.site == site:
            reasons = "; ".join(reason.detail for reason in left.reasons)
            parts.append(f"Unserved: {reasons}. {left.remedy}".strip())
    return " ".join(parts) or f"Site {site} is not in the plan."
