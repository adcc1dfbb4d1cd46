"""Suggestions that serve an unserved site: mend every rule that one pool breaks, or make room where it may go."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from planner.explain.bench import Bench
from planner.explain.nouns import Change, Figures, Suggestion
from planner.explain.wording import figure

_TRIES = 4  # pools tried for one site, the nearest first


def remedies(bench: Bench) -> list[Suggestion]:
    """Return the nearest change for each unserved site, confirmed by a plan that serves it."""
    found = []
    for left in bench.plan.unserved:
        bench.tell(f"what would serve {left.site}")
        at = bench.fleet.site_ids.index(left.site)
        found += _first_confirmed(bench, left.site, at)
    return found


def _first_confirmed(bench: Bench, site: str, at: int) -> list[Suggestion]:
    """Return the nearest remedy that a plan confirms, or else the nearest."""
    tried = []
    for changes, words in _nearest(bench, at):
        tried.append(_tried(bench, site, changes, words))
        if tried[-1].confirmed:
            return tried[-1:]
    return tried[:1]


def _tried(bench: Bench, site: str, changes: tuple[Change, ...], words: str) -> Suggestion:
    """Return the suggestion, confirmed where the changed fleet serves the site."""
    after = bench.replan(changes)
    serves = after is not None and bench.serves(Figures.of(after), site)
    return bench.suggestion("remedy", "serve", words, changes, after, confirmed=serves, site=site)


def _nearest(bench: Bench, at: int) -> Iterator[tuple[tuple[Change, ...], str]]:
    """Yield changes with words, the pool with the fewest broken rules and the least RTT first."""
    checker = bench.checker
    site = bench.fleet.site_ids[at]
    pairs = checker.against(at)
    broken = checker.broken(at)
    count = np.zeros(len(bench.fleet.pool_ids), dtype=np.int64)
    for _, kept_out in broken:
        count[kept_out.pool] += 1
    rtt = np.nan_to_num(pairs.rtt_ms, nan=np.inf)
    tries = 0
    for x in np.lexsort((rtt, count[pairs.pool])).tolist():
        pool = int(pairs.pool[x])
        codes = [rule.code for rule, kept_out in broken if pool in kept_out.pool]
        changes = _mended(bench, at, pool, codes, float(pairs.rtt_ms[x]))
        if changes is None:
            continue
        yield changes, f"To serve {site} from pool {bench.fleet.pool_ids[pool]}: {'; '.join(map(_in_words, changes))}."
        tries += 1
        if tries == _TRIES:
            return


def _mended(bench: Bench, at: int, pool: int, codes: list[str], rtt_ms: float) -> tuple[Change, ...] | None:
    """Return what would mend each broken rule; None where one cannot be mended by a cell of the workbook."""
    if not codes:
        return (_one_more_host(bench, pool),)
    changes = []
    for code in codes:
        change = _mend(bench, at, pool, code, rtt_ms)
        if change is None:
            return None
        changes.append(change)
    return tuple(changes)


def _mend(bench: Bench, at: int, pool: int, code: str, rtt_ms: float) -> Change | None:
    fleet = bench.fleet
    site, name = fleet.site_ids[at], fleet.pool_ids[pool]
    row = fleet.sites.iloc[at]
    if code == "latency" and np.isfinite(rtt_ms):
        return Change("Sites", site, "latency_budget_ms", float(fleet.budgets_ms[at]), rtt_ms)
    if code == "release_floor":
        column = "target_release" if row["target_release"] else "release"  # the one that plans are made for
        return Change("Sites", site, column, str(row[column]), fleet.policy.release_floor)
    # Under same_major a newer release of the hosts would shut out the sites that they serve now.
    if code == "host_release" and fleet.policy.host_release_rule == "not_older":
        return Change("Hubs", name, "host_release", fleet.host_releases[pool], fleet.site_releases[at])
    if code == "pinned_hub":
        hub = fleet.hub_ids[fleet.hub_of_pool[pool]]
        return Change("Sites", site, "pinned_hub", str(row["pinned_hub"]), hub)
    if code == "barred_hub":
        hub = fleet.hub_ids[fleet.hub_of_pool[pool]]
        barred = row["barred_hubs"]
        left = ";".join(other for other in barred if other != hub)
        return Change("Sites", site, "barred_hubs", ";".join(barred), left)
    if code == "region":
        regions = fleet.pools["serves_regions"].iloc[pool]
        return Change("Hubs", name, "serves_regions", ";".join(regions), ";".join((*regions, str(row["region"]))))
    if code == "capacity":
        return _more_room(bench, at, pool)
    return None


def _more_room(bench: Bench, at: int, pool: int) -> Change | None:
    """Return a host where none may stand; None where the site is too large."""
    fleet = bench.fleet
    fits = fleet.policy.split_sites or fleet.clusters[at] <= fleet.usable_caps[pool]
    return _one_more_host(bench, pool) if fits and fleet.max_hosts[pool] < 1 else None


def _one_more_host(bench: Bench, pool: int) -> Change:
    most = int(bench.fleet.max_hosts[pool])
    return Change("Hubs", bench.fleet.pool_ids[pool], "max_hosts", most, most + 1)


def _in_words(change: Change) -> str:
    """Say one change as something to do."""
    before, after = (v if isinstance(v, str) else figure(v) for v in (change.before, change.after))
    if change.column == "latency_budget_ms":
        more = figure(float(change.after) - float(change.before))
        return f"raise its latency budget by {more} ms, from {before} to {after} ms"
    return {
        "release": f"bring the site from release {before or '(unknown)'} to {after}",
        "host_release": f"bring the hosts of pool {change.id} from release {before} to {after}",
        "pinned_hub": f"pin the site to hub {after} instead of {before}",
        "barred_hubs": f"bar it from {after or 'no hub'} instead of {before}",
        "serves_regions": f"let pool {change.id} serve regions {after} instead of {before}",
        "max_hosts": f"let pool {change.id} run {after} hosts instead of {before}",
    }[change.column]
