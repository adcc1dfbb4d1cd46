"""What an answer says: the count, then the whole plan, as plain data for the page."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING, Any

from planner.counted_words import counted
from planner.fleet import Fleet
from planner.outputs.causes import unserved_by_cause
from planner.outputs.facts import margin_ms
from planner.outputs.how_sure import gap_in_words, headline, measure_of
from planner.outputs.plan_sentences import OBJECTIVES, amount, survives
from planner.plan import Plan, moved_sites

if TYPE_CHECKING:
    from planner.explain import Explanation, Suggestion
    from planner.resilience import DrillReport
    from planner.sizing import HostCount

_MOST_SITES = 200  # that one list names


def count_answer(found: HostCount, fleet: Fleet) -> dict[str, Any]:
    """Return what the count alone says; where ``fleet`` asks for cover, that is what its plan takes at least."""
    least = fleet.policy.cover != "none"
    return {
        "hosts": found.hosts,
        "objective": found.objective,
        "value": finite(found.objective_value),
        "bound": finite(found.lower_bound),
        "unserved": found.unserved,
        "proven": found.proven,
        "at_least": least,
        "words": _count_words(found, least),
    }


def _count_words(found: HostCount, least: bool) -> str:
    left = f"{counted(found.unserved, 'site')} unserved" if found.unserved else "every site served"
    if least:
        bare = f"Without standbys the plan needs {counted(found.hosts, 'host')}, {left}."
        return f"{bare} With standbys it needs as many or more."
    made = OBJECTIVES[found.objective]
    if found.proven:
        return f"Proven: {made}, {left}."
    bound = f" Every plan needs at least {found.lower_bound:,.6g}." if found.lower_bound > 0 else ""
    return f"Not proven yet: {left} so far.{bound} The search goes on."


def plan_answer(fleet: Fleet, plan: Plan) -> dict[str, Any]:
    """Return what the page shows of a plan."""
    return {
        "headline": headline(plan),
        "status": plan.status,
        "hosts": plan.hosts,
        "new": sum(not host.existing for host in plan.host_list),
        "value": amount(plan, plan.objective_value),
        "bound": amount(plan, plan.lower_bound),
        "proven": plan.proves(plan.objective),
        "objective": plan.objective,
        "gap": plan.gap,
        "gap_words": gap_in_words(plan),
        "aims": [_aim(plan, aim) for aim in plan.aims],
        "settled": all(aim.proven for aim in plan.aims),
        "hubs": _by_hub(plan),
        "causes": _causes(plan),
        "unserved": len(plan.unserved),
        "uncovered": len(plan.uncovered),
        "moves": len(moved_sites(fleet, plan)),
        "moved": [_move(a) for a in plan.assignments if a.action == "move"][:_MOST_SITES],
        "least_margin_ms": finite(min(map(margin_ms, plan.assignments), default=math.nan)),
        "mean_rtt_ms": finite(_mean([a.rtt_ms for a in plan.assignments])),
        "cost": _cost(fleet, plan),
        "survives": survives(plan),
        "proof": plan.proof.words,
        "host_list": [
            {"host": h.host, "hub": h.hub, "clusters": h.clusters, "usable": h.usable} for h in plan.host_list
        ],
        "sites": _sites_on_map(fleet, plan),
    }


def _aim(plan: Plan, aim: Any) -> dict[str, Any]:
    return {
        "aim": aim.aim,
        "words": measure_of(aim.aim),
        "value": finite(aim.value),
        "bound": finite(aim.bound),
        "proven": aim.proven,
    }


def _by_hub(plan: Plan) -> list[dict[str, Any]]:
    hosts, new = Counter[str](), Counter[str]()
    clusters, room = Counter[str](), Counter[str]()
    for host in plan.host_list:
        hosts[host.hub] += 1
        new[host.hub] += not host.existing
        clusters[host.hub] += host.clusters
        room[host.hub] += host.usable
    return [
        {"hub": hub, "hosts": hosts[hub], "new": new[hub], "clusters": clusters[hub], "room": room[hub]}
        for hub in sorted(hosts)
    ]


def _causes(plan: Plan) -> list[dict[str, Any]]:
    return [
        {"words": cause.words, "sites": list(cause.sites[:_MOST_SITES]), "number": len(cause.sites)}
        for cause in unserved_by_cause(plan)
    ]


def _move(assignment: Any) -> dict[str, Any]:
    return {"site": assignment.site, "before": assignment.moved_from or "", "after": assignment.host}


def _mean(values: list[float]) -> float:
    return sum(values) / len(values) if values else math.nan


def _cost(fleet: Fleet, plan: Plan) -> float | None:
    """Return what the hosts of the plan cost a year; None where a price is missing."""
    of_pool = dict(zip(fleet.pool_ids, fleet.host_costs.tolist(), strict=True))
    return finite(sum(of_pool.get(host.pool, math.nan) for host in plan.host_list)) if plan.host_list else 0.0


def _sites_on_map(fleet: Fleet, plan: Plan) -> list[int]:
    """Return for each site of the fleet the position of its hub; -1 without one, -2 where it needs none."""
    hub_at = {hub: at for at, hub in enumerate(fleet.hub_ids)}
    found = {row.site: hub_at.get(row.hub, -1) for row in plan.assignments}
    found.update({row.site: -2 for row in plan.no_host_needed})
    return [found.get(site, -1) for site in fleet.site_ids]


def finite(value: float) -> float | None:
    """Return ``value`` without binary dust; None where it is not finite."""
    return round(float(value), 6) if math.isfinite(value) else None


def explanation_answer(found: Explanation) -> dict[str, Any]:
    """Return why not fewer, and what would help; each suggestion with the cells that trying it changes."""
    return {
        "proof": found.proof,
        "sets": [one.words for one in found.sets[:20]],
        "suggestions": [_suggestion(one) for one in found.suggestions[:30]],
        "notes": list(found.notes),
        "site": None if found.site is None else _site(found),
    }


def _suggestion(one: Suggestion) -> dict[str, Any]:
    after = None if one.after is None else {"hosts": one.after.hosts, "unserved": len(one.after.unserved)}
    edits = [
        {"sheet": change.sheet, "column": change.column, "value": str(change.after), "rows": change.id or "*"}
        for change in one.changes
    ]
    return {"words": one.words, "goal": one.goal, "confirmed": one.confirmed, "after": after, "edits": edits}


def _site(found: Explanation) -> dict[str, Any]:
    assert found.site is not None
    pools = [
        {
            "pool": view.pool,
            "hub": view.hub,
            "eligible": view.eligible,
            "serves": view.serves,
            "rtt_ms": view.rtt_ms,
            "why": "; ".join(reason.detail for reason in view.reasons),
        }
        for view in found.site.pools
    ]
    return {"site": found.site.site, "words": found.site.words, "budget_ms": found.site.budget_ms, "pools": pools}


def drill_answer(report: DrillReport) -> dict[str, Any]:
    """Return what a loss does: in figures, who takes over, and who is left; without a named loss, every single one."""
    if report.drill is None:
        singles = [
            {"loss": str(one.loss), "name": f"{one.loss.kind}:{one.loss.name}", **_figures(one.figures)}
            for one in report.singles
        ]
        return {"words": report.words, "singles": singles, "notes": list(report.notes)}
    drill = report.drill
    left = [row.site for row in drill.displaced if row.outcome != "rehomed"]
    return {
        "words": ", ".join(map(str, drill.losses)),
        **_figures(drill.figures),
        "left": left[:_MOST_SITES],
        "left_number": len(left),
        "loads": [
            {"host": load.host, "before": load.before, "arriving": load.arriving, "over": load.over, "cap": load.cap}
            for load in drill.loads
        ],
        "notes": list(report.notes),
    }


def _figures(figures: Any) -> dict[str, Any]:
    return {
        "hosts": figures.hosts,
        "sites": figures.sites,
        "displaced": figures.displaced,
        "stranded": figures.stranded,
        "over": figures.over,
        "survived": figures.survived,
    }
