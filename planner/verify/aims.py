"""Do the aims before and after the objective add up, and do value, bound and the word proven agree?"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping

from planner.own import PREFIX
from planner.plan import Aim, Assignment
from planner.verify.assignments import ROUNDING_MS, measured_anew, stays
from planner.verify.case import Case
from planner.verify.pairs import Pair
from planner.verify.running import Running
from planner.verify.violation import RELATIVE_TOLERANCE, Violation, differs, ms, number

_OWN_CLOSE = 1e-6  # costs of own aims are whole steps, and no step is smaller
_CLOSE = 2e-3  # costs are settled in steps of a microsecond, sums of them to a thousandth


def check_aims(case: Case) -> Iterator[Violation]:
    """Check each aim that the plan names; one that is not known is a violation."""
    weights = _weights(case)
    # What counts from where sites were cannot be added up again once some have changed host.
    earlier = ("kept_served", "moves") if case.other_input else ()
    for aim in case.plan.before:
        if str(aim.aim) in earlier:
            continue
        if str(aim.aim) in weights:
            yield from _worth(aim, weights[str(aim.aim)])
        else:
            text = f"the plan lists {aim.aim!r} as an aim before the objective. Known aims there: {', '.join(weights)}"
            yield Violation("aim", "plan", text)
    for aim in case.plan.then:
        if str(aim.aim) in earlier:
            continue
        if str(aim.aim) in _AFTER:
            yield from _after(aim, _AFTER[str(aim.aim)](case), more_ms=_rounded_ms(case))
        elif str(aim.aim).startswith(PREFIX):
            yield from _own(case, aim)
        else:
            text = f"the plan lists {aim.aim!r} as an aim after the objective. Known aims there: {', '.join(_AFTER)}"
            yield Violation("aim", "plan", text)


def _worth(aim: Aim, actual: float) -> Iterator[Violation]:
    """Check a weight that the plan says it serves or covers."""
    bound = number(aim.bound)
    if differs(aim.value, actual):
        text = f"the plan says that the weight {aim.aim} is {aim.value}; its sites add up to {actual:.12g}"
        yield Violation("aim", "plan", text)
    if not bound >= actual - RELATIVE_TOLERANCE * actual:
        text = f"the weight {aim.aim} is {actual:.12g}, but the plan says that no plan has more than {aim.bound}"
        yield Violation("aim", "plan", text)
    elif aim.proven and not bound <= actual + RELATIVE_TOLERANCE * actual:
        text = (
            f"the plan calls the weight {aim.aim} proven, but it is {actual:.12g}, "
            f"and the plan's own upper bound is {aim.bound}"
        )
        yield Violation("aim", "plan", text)


def _weights(case: Case) -> dict[str, float]:
    """Return the weight of the sites that have a third vote, and of those of them that keep it after a loss.

    Where the policy keeps sites served, the weight of those with a host today comes first.
    """
    sites = [site for site in case.inventory.sites.values() if site.needs_host]
    out = {entry.site for entry in case.plan.unserved}
    bare = {row.site for row in case.plan.assignments if not row.standby}
    served = [site for site in sites if site.site not in out]
    weights = {}
    if case.inventory.policy.keep_served:
        kept = (site.weight for site in served if site.site in case.inventory.current)
        weights["kept_served"] = float(sum(kept))
    weights["served"] = float(sum(site.weight for site in served))
    if case.inventory.policy.cover != "none":
        weights["covered"] = float(sum(site.weight for site in served if site.site not in bare))
    return weights


def _after(aim: Aim, actual: float, settled: float = _CLOSE, more_ms: float = 0.0) -> Iterator[Violation]:
    """Check an aim among plans of equal objective; of the margin the bound is an upper one, else a lower one.

    ``more_ms`` is what rounded times may add to a total of them.
    """
    of_ms = aim.aim in ("latency", "margin")
    slack = ROUNDING_MS + more_ms if of_ms else 0.0
    if differs(aim.value, actual, slack):
        said, again = ms(aim.value, actual) if of_ms else (aim.value, f"{actual:.10g}")
        text = f"the plan says that its aim {aim.aim} is {said}; counted again, it is {again}"
        yield Violation("aim", "plan", text)
        return
    beyond = actual - number(aim.bound) if aim.aim == "margin" else number(aim.bound) - actual
    close = settled + slack + RELATIVE_TOLERANCE * abs(actual)
    if not beyond <= close:
        text = f"the aim {aim.aim} is {actual:.10g}, but the plan says that no plan is better than {aim.bound}"
        yield Violation("aim", "plan", text)
    elif aim.proven and not beyond >= -close:
        text = (
            f"the plan calls its aim {aim.aim} proven, but it is {actual:.10g} and the plan's own bound is {aim.bound}"
        )
        yield Violation("aim", "plan", text)


def _own(case: Case, aim: Aim) -> Iterator[Violation]:
    """Check an aim of the caller's own, by asking it again for the pairs that the plan uses."""
    pools = ((row.site, case.pool_of(row.host)) for row in case.plan.assignments)
    used = {(site, pool.pool) for site, pool in pools if pool is not None}
    total = case.inventory.own.total(str(aim.aim), used)
    name = str(aim.aim).removeprefix(PREFIX)
    if total is None:
        text = f"the plan lists the own aim {name}, which was given to the plan but not to verify; it was not checked"
        yield Violation("own_aim", "plan", text, "note")
    else:
        yield from _after(aim, total, _OWN_CLOSE)


def _moves(case: Case) -> float:
    """Return the sites that change host, and those of Current that need no shared host any more."""
    running, current = Running(case), case.inventory.current
    moved = {
        row.site
        for row in case.plan.assignments
        if current.get(row.site) and not any(stays(case, running, row, was) for was in current[row.site])
    }
    gone = {entry.site for entry in case.plan.no_host_needed if entry.site in current}
    return float(len(moved | gone))


def _rtt_ms(case: Case, row: Assignment) -> float:
    """Return what the fleet says of a pair; what the plan says where the fleet says nothing, or has measured anew."""
    pair = _pair(case, row)
    return number(row.rtt_ms) if pair is None or measured_anew(case, row, pair) else pair.rtt_ms


def _pair(case: Case, row: Assignment) -> Pair | None:
    pool = case.pool_of(row.host)
    return None if pool is None else case.inventory.pairs.get(row.site, pool.hub)


def _rounded_ms(case: Case) -> float:
    """Return by how much the total may differ since workbooks round the times that are read from the plan."""
    pairs = ((row, _pair(case, row)) for row in case.plan.assignments)
    return ROUNDING_MS * sum(pair is not None and measured_anew(case, row, pair) for row, pair in pairs)


def _latency(case: Case) -> float:
    """Return the total round-trip time; that of a split site counts once for each pool that it uses."""
    pools = ((row, case.pool_of(row.host)) for row in case.plan.assignments)
    each = {(row.site, pool.pool if pool else row.host): _rtt_ms(case, row) for row, pool in pools}
    return math.fsum(each.values())


def _margin(case: Case) -> float:
    """Return the smallest margin to a budget; NaN where nobody uses a shared host."""
    sites = case.inventory.sites
    rows = [row for row in case.plan.assignments if row.site in sites]
    return min((sites[row.site].budget_ms - _rtt_ms(case, row) for row in rows), default=math.nan)


def _spread(case: Case) -> float:
    return float(max(case.loads.values(), default=0))


_AFTER: Mapping[str, Callable[[Case], float]] = {
    "moves": _moves,
    "latency": _latency,
    "margin": _margin,
    "spread": _spread,
}
