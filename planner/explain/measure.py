"""Measure these first: pairs without a measured round-trip time that decide how many hosts it takes, or who is served.

Each is found by planning changed fleets. A pair that the plan uses on a model or an estimate counts if the plan gets
worse when the pair turns out beyond its budget; a pair that is unknown, or not good enough for the policy, counts if
the plan gets better when it turns out within. Ruling out pairs never makes a plan better, so halving a list finds the
few that matter in it with few plans (group testing: R. Dorfman, Annals of Mathematical Statistics 14, 1943, 436-440).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from planner.counted_words import counted
from planner.explain.assumed import Pair, assumed, assumed_at, open_pairs
from planner.explain.bench import Bench
from planner.explain.explanation import PlanMeasures
from planner.explain.saving_pairs import that_save
from planner.explain.wording import some
from planner.fleet import Fleet
from planner.latency import EVIDENCE, estimate_range_ms
from planner.plan import Known, MeasureFirst, Outcome, Plan
from planner.rules import Checker
from planner.sizing import SolveBudget, build_problem

_SHRUNK = 40  # pairs of a group that are tried one by one
_NEAREST = 4  # pairs tried for an unserved site


def pairs_to_measure(
    fleet: Fleet,
    plan: Plan,
    *,
    time_limit: float | None = 5.0,
    seed: int = 0,
    tell: Callable[[str], None] | None = None,
) -> tuple[MeasureFirst, ...]:
    """Return the pairs without a measured round-trip time that decide ``plan``, those with the greatest effect first.

    They are found by planning changed fleets within ``time_limit`` seconds; at the limit, or at Ctrl-C in the main
    thread, what was found so far comes back. Raises what `planner.plan` raises.
    """
    budget = SolveBudget(seconds=time_limit, seed=seed)
    checker = Checker.of(fleet)
    with budget.listening():
        problem = build_problem(fleet, checker)
        return measure_first(Bench(fleet, plan, checker, problem, budget, tell or (lambda _words: None)))


def measure_first(bench: Bench) -> tuple[MeasureFirst, ...]:
    """Return the pairs to measure first, those with the greatest effect first; what time allowed is in it."""
    before = bench.plan
    groups = [*_that_would_help(bench), *_that_would_hurt(bench)]
    seen: set[tuple[Outcome, tuple[Pair, ...]]] = set()
    ranked = []
    for outcome, pairs, after in sorted(groups, key=lambda group: _rank(bench, *group)):
        if (outcome, pairs) not in seen:
            seen.add((outcome, pairs))
            ranked.append((outcome, pairs, after))
    return tuple(
        _row(bench, rank, outcome, pairs, pair, before, after)
        for rank, (outcome, pairs, after) in enumerate(ranked, start=1)
        for pair in pairs
    )


_Group = tuple[Outcome, tuple[Pair, ...], Plan]


def _that_would_hurt(bench: Bench) -> list[_Group]:
    """Return the pairs in use without which the plan gets worse, alone or, where no half of them does it, together."""
    used = {(a.site, a.hub): a.budget_ms - a.rtt_ms for a in bench.plan.assignments if a.evidence != "measured"}
    # Those closest to their budget stand together, so that halving finds them soon.
    found = _halved(bench, tuple(sorted(used, key=lambda pair: (used[pair], pair)))) if used else []
    if used and bench.budget.spent:
        bench.notes.append("Time ended before every pair in use was tried: others may be worth measuring as well.")
    return found


def _halved(bench: Bench, pairs: tuple[Pair, ...]) -> list[_Group]:
    """Return the smallest groups among ``pairs`` that halving finds; none if the plan does as well without them all."""
    after = _without(bench, pairs)
    if after is None:
        return []
    if len(pairs) == 1:
        return [("beyond", pairs, after)]
    middle = len(pairs) // 2
    found = [*_halved(bench, pairs[:middle]), *_halved(bench, pairs[middle:])]
    return found or [_shrunk(bench, pairs, after)]


def _shrunk(bench: Bench, pairs: tuple[Pair, ...], after: Plan) -> _Group:
    """Return a group from which no pair can be left out, if it is small enough to try; they matter only together."""
    for pair in reversed(pairs) if len(pairs) <= _SHRUNK else ():
        fewer = tuple(other for other in pairs if other != pair)
        still = _without(bench, fewer)
        if still is not None:
            pairs, after = fewer, still
    return "beyond", pairs, after


def _without(bench: Bench, pairs: tuple[Pair, ...]) -> Plan | None:
    """Return the plan if all ``pairs`` are beyond their budgets, where that is worse than the plan at hand."""
    bench.tell(f"what if {counted(len(pairs), 'pair')} turned out beyond the budget")
    after = bench.plan_of(assumed(bench.fleet, pairs, "beyond"))
    return after if after is not None and _worse(bench, after) else None


def _that_would_help(bench: Bench) -> list[_Group]:
    """Return the sets of pairs that would save a host, and the pairs that would serve an unserved site."""
    if bench.budget.spent or bench.all_hosts_needed:
        return []
    candidates = open_pairs(bench.fleet, bench.checker)
    if not len(candidates):
        return []
    bench.tell("what if every pair turned out within the budget")
    fleet = assumed_at(bench.fleet, candidates.site, candidates.hub, "within")
    if not bench.before.unserved and bench.fleet.policy.cover == "none":
        # Nobody else can be served: the count tells, far sooner than a plan.
        return that_save(bench, fleet, candidates)
    best = bench.plan_of(fleet)
    if best is None or not _better(bench, best):
        return []
    found, guesses = [], candidates.named(bench.fleet)
    for site in sorted(set(bench.before.unserved) - set(PlanMeasures.of(best).unserved)):
        found += _serving(bench, site, guesses)
    return found + that_save(bench, fleet, candidates)


def _serving(bench: Bench, site: str, candidates: dict[Pair, float]) -> list[_Group]:
    """Return the nearest pair of an unserved site that would serve it."""
    own = sorted((pair for pair in candidates if pair[0] == site), key=lambda pair: (candidates[pair], pair))
    for pair in own[:_NEAREST]:
        bench.tell(f"what if {site} were within the budget of {pair[1]}")
        after = bench.plan_of(assumed(bench.fleet, [pair], "within"))
        if after is not None and bench.serves(PlanMeasures.of(after), site):
            return [("within", (pair,), after)]
    return []


def _worse(bench: Bench, after: Plan) -> bool:
    """Say whether ``after`` surely leaves more unserved, or needs more where it leaves as much."""
    less = bench.serves_less(PlanMeasures.of(after))
    return less > 0 or (less == 0 and after.lower_bound > bench.plan.objective_value + 1e-9)


def _better(bench: Bench, after: Plan) -> bool:
    less = bench.serves_less(PlanMeasures.of(after))
    return less < 0 or (less == 0 and after.objective_value < bench.plan.lower_bound - 1e-9)


def _rank(bench: Bench, outcome: Outcome, pairs: Sequence[Pair], after: Plan) -> tuple[object, ...]:
    everybody = bench.weight_of.keys()
    served = abs(bench.missed(PlanMeasures.of(after), everybody) - bench.missed(bench.before, everybody))
    hosts = abs(after.objective_value - bench.plan.objective_value) if served <= 1e-9 else 0.0
    return -served / len(pairs), -hosts / len(pairs), len(pairs), outcome, tuple(pairs)


def _row(
    bench: Bench, rank: int, outcome: Outcome, pairs: tuple[Pair, ...], pair: Pair, before: Plan, after: Plan
) -> MeasureFirst:
    site, hub = pair
    at = bench.fleet.site_ids.index(site)
    against = bench.checker.against(at)
    hubs = bench.fleet.hub_of_pool[against.pool]
    x = int(np.flatnonzero(hubs == bench.fleet.hub_ids.index(hub))[0])
    rtt_ms = float(against.rtt_ms[x])
    known: Known = "unknown" if np.isnan(rtt_ms) else EVIDENCE[against.evidence[x]]
    return MeasureFirst(
        rank=rank,
        site=site,
        hub=hub,
        evidence=known,
        rtt_ms=rtt_ms if np.isfinite(rtt_ms) else None,
        budget_ms=float(bench.fleet.budgets_ms[at]),
        outcome=outcome,
        together=len(pairs),
        hosts=after.hosts,
        unserved=len(after.unserved),
        words=_in_words(outcome, pairs, before, after) + _doubt(bench, at, known, outcome, rtt_ms),
    )


def _doubt(bench: Bench, at: int, known: Known, outcome: Outcome, rtt_ms: float) -> str:
    """Say that an estimate is well within the budget, where it is."""
    if known != "estimated" or outcome != "beyond":
        return ""
    high = estimate_range_ms(rtt_ms)[1]
    return f" Unlikely: the range of the estimate ends at {high:.3g} ms." if high <= bench.fleet.budgets_ms[at] else ""


def _in_words(outcome: Outcome, pairs: tuple[Pair, ...], before: Plan, after: Plan) -> str:
    which = "it is" if len(pairs) == 1 else f"all {len(pairs)} ({some([' to '.join(pair) for pair in pairs])}) are"
    limit = "its budget" if len(pairs) == 1 else "their budgets"
    now, then = {u.site for u in before.unserved}, {u.site for u in after.unserved}
    parts = []
    if gone := sorted(then - now):
        parts.append(f"{some(gone)} would be unserved")
    if served := sorted(now - then):
        parts.append(f"{some(served)} would be served")
    # Fewer hosts because somebody is left out are no news.
    if not parts or (after.hosts > before.hosts if outcome == "beyond" else after.hosts < before.hosts):
        parts.append(f"it would take {counted(after.hosts, 'host')} instead of {before.hosts:,}")
    return f"If {which} {outcome} {limit}, {' and '.join(parts)}."
