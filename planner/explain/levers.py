"""Suggestions that turn one setting: one host more at a pool, a larger cap, a smaller reserve. Each try is a plan."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from planner.explain.bench import Bench
from planner.explain.explanation import Change, Kind, PlanMeasures, Suggestion
from planner.explain.sets import binding_sets
from planner.explain.wording import figure, some
from planner.fleet import Fleet
from planner.host_limits import HostLimit
from planner.plan import Plan


def levers_that_save(bench: Bench) -> list[Suggestion]:
    """Return the single settings that save a host, each as small a change as does it."""
    return [*_larger_caps(bench), *_smaller_reserve(bench), *_one_more_host(bench)]


def _one_more_host(bench: Bench) -> list[Suggestion]:
    """Try each pool that runs as many hosts as it may."""
    fleet = bench.fleet
    running = {pool: sum(host.pool == pool for host in bench.plan.host_list) for pool in fleet.pool_ids}
    forced = {pool for found in binding_sets(bench.plan, len(fleet.pool_ids)) for pool in found.pools}
    full = [_one_more(bench, p, running) for p in range(len(fleet.pool_ids))]
    found = []
    hopeful = _with_a_chance(bench, [one for one in full if one.changes])
    for one in sorted(hopeful, key=lambda one: (one.pool not in forced, one.pool)):
        bench.tell(f"one host more at {one.pool}")
        after = bench.replan(one.changes)
        if after is not None and bench.saves(PlanMeasures.of(after)):
            suggestion = bench.suggestion(
                "max_hosts", "save", one.words, one.changes, after, confirmed=True, fewest=True
            )
            found.append(suggestion)
    return found


@dataclass(frozen=True, slots=True)
class _OneMore:
    """One host more at a pool that runs as many as it may: the cells to change, none where it may run one more."""

    pool: str
    changes: tuple[Change, ...]
    words: str


def _one_more(bench: Bench, p: int, running: Mapping[str, int]) -> _OneMore:
    """Return what has to change for one host more at pool ``p``: each limit that it would break."""
    fleet = bench.fleet
    hosts = np.array([running[pool] for pool in fleet.pool_ids], dtype=np.int64)
    hosts[p] += 1
    limits = [limit for limit in fleet.host_limits if p in limit.pools and limit.taken(hosts) > limit.most]
    raised = [(limit, _raised(fleet, limit, limit.taken(hosts))) for limit in limits]
    said = [f"{limit.said()} to {change.after} instead of {change.before}" for limit, (change, *_) in raised]
    changes = tuple(change for _, cells in raised for change in cells)
    words = f"Raise {' and '.join(said)}."
    if [limit.column for limit in limits] == ["max_hosts"]:
        words = f"Let pool {fleet.pool_ids[p]} run {changes[0].after} hosts instead of {changes[0].before}."
    return _OneMore(fleet.pool_ids[p], changes, words)


def _raised(fleet: Fleet, limit: HostLimit, taken: int) -> tuple[Change, ...]:
    """Return the cells that state ``limit``, raised to what would be ``taken``."""
    stated = fleet.pools[limit.column].notna().to_numpy()
    at = [p for p in limit.pools.tolist() if stated[p] or limit.column == "max_hosts"]
    return tuple(Change("Hubs", fleet.pool_ids[p], limit.column, limit.most, taken) for p in at)


def _with_a_chance(bench: Bench, full: list[_OneMore]) -> list[_OneMore]:
    """Return those of ``full`` that may save a host by one host more: where all of them do not, none of them does."""
    changes = (change for one in full for change in one.changes)
    together = sorted(changes, key=lambda change: float(change.after))  # of one cell the largest comes last
    if not full or bench.budget.spent or bench.cannot_save(together):
        return []
    if len(full) == 1:
        return full
    middle = len(full) // 2
    return [*_with_a_chance(bench, full[:middle]), *_with_a_chance(bench, full[middle:])]


def _larger_caps(bench: Bench) -> list[Suggestion]:
    """Try each kind of pool, that is the pools of one cap; and all pools, where there are several kinds."""
    caps = bench.fleet.cluster_caps
    found = []
    for cap in np.unique(caps).tolist():
        bench.tell(f"a cap above {cap}")
        pools = tuple(pool for pool, own in zip(bench.fleet.pool_ids, caps, strict=True) if own == cap)
        # One host that holds every cluster is as much as any cap can give.
        most = int(np.ceil(bench.fleet.clusters.sum() * 100.0 / (100.0 - bench.fleet.policy.reserve_percent)))

        def words(after: float, pools: tuple[str, ...] = pools, cap: int = cap) -> str:
            which = f"pool{'s' if len(pools) > 1 else ''} {some(pools)}"
            if len(pools) == len(bench.fleet.pool_ids):
                which = "every pool"
            return f"Let a host of {which} carry {after:g} clusters instead of {cap}, if its supplier allows that."

        def changes(after: float, pools: tuple[str, ...] = pools, cap: int = cap) -> tuple[Change, ...]:
            return _cap_changes(bench, pools, cap, int(after))

        found += _least(bench, "cluster_cap", changes, words, range(cap + 1, most + 1))
    return found


def _cap_changes(bench: Bench, pools: tuple[str, ...], before: int, after: int) -> tuple[Change, ...]:
    """Return the cells to change: the policy's cap where all pools take theirs from it."""
    if bench.fleet.pools["cluster_cap"].isna().all():
        return (Change("Policy", "", "cluster_cap", before, after),)
    return tuple(Change("Hubs", pool, "cluster_cap", before, after) for pool in pools)


def _smaller_reserve(bench: Bench) -> list[Suggestion]:
    """Try a reserve that is smaller by whole percents."""
    before = bench.fleet.policy.reserve_percent
    if before <= 0:
        return []
    bench.tell("a smaller reserve")

    def changes(less: float) -> tuple[Change, ...]:
        return (Change("Policy", "", "reserve_percent", before, max(0.0, before - less)),)

    def words(less: float) -> str:
        return f"Keep {figure(max(0.0, before - less))} % of the cap in reserve instead of {figure(before)} %."

    return _least(bench, "reserve", changes, words, range(1, int(np.ceil(before)) + 1))


def _least(
    bench: Bench,
    kind: Kind,
    changes: Callable[[float], tuple[Change, ...]],
    words: Callable[[float], str],
    steps: Sequence[int],
) -> list[Suggestion]:
    """Return the first of ``steps`` that saves a host: a longer step never needs more hosts, so double, then bisect.

    The longest goes first, to know whether there is anything to find, but is no answer while shorter ones are untried.
    """
    plans: dict[int, Plan] = {}

    def saves(at: int) -> bool:
        asked = changes(steps[at])
        after = None if bench.cannot_save(asked) else bench.replan(asked)
        if after is None or not bench.saves(PlanMeasures.of(after)):
            return False
        plans[at] = after
        return True

    last = len(steps) - 1
    if not steps or not saves(last):
        return []
    low, high = 0, 0
    while high < last and not saves(high):
        low, high = high + 1, min(last, 2 * high + 1)
        if bench.budget.spent:
            return []
    while low < high and not bench.budget.spent:
        middle = (low + high) // 2
        if saves(middle):
            high = middle
        else:
            low = middle + 1
    step = steps[high]
    return [
        bench.suggestion(
            kind,
            "save",
            words(step),
            changes(step),
            plans[high],
            confirmed=True,
            fewest=low == high and not bench.budget.spent,
        )
    ]
