"""Two plans without their fleets -> what they tell of a change: sites, round-trip times, budgets, releases, policy."""

from __future__ import annotations

from collections.abc import Iterator

from planner import columns
from planner.differences.difference import Cause, FleetChange
from planner.differences.fleet_changes import counts, text_of
from planner.plan import Plan


def plan_changes(old: Plan, new: Plan) -> tuple[FleetChange, ...]:
    """Return what the rows of two plans tell of the fleets that they were made for; far from all."""
    return tuple(_changes(old, new))


def sites_of(plan: Plan) -> frozenset[str]:
    """Return every site that a plan speaks of."""
    return frozenset(
        (
            *(row.site for row in plan.assignments),
            *(entry.site for entry in plan.unserved),
            *(entry.site for entry in plan.no_host_needed),
        )
    )


def _changes(old: Plan, new: Plan) -> Iterator[FleetChange]:
    for name in sorted({*old.policy, *new.policy}) if old.policy and new.policy else ():
        before, after = text_of(old.policy.get(name)), text_of(new.policy.get(name))
        if before != after:
            cause: Cause = "policy" if counts(columns.POLICY, name) else "other"
            yield FleetChange(cause, "Policy", name, "value", before, after)
    before_sites, after_sites = sites_of(old), sites_of(new)
    yield from (FleetChange("closed", "Sites", site, "site", site, "") for site in sorted(before_sites - after_sites))
    yield from (FleetChange("opened", "Sites", site, "site", "", site) for site in sorted(after_sites - before_sites))
    pools = {host.pool: host.release for host in old.host_list}
    for host in {host.pool: host for host in new.host_list}.values():
        if host.pool in pools and pools[host.pool] != host.release:
            yield FleetChange("release", "Hubs", host.pool, "host_release", pools[host.pool], host.release)
    yield from _of_rows(old, new)


def _of_rows(old: Plan, new: Plan) -> Iterator[FleetChange]:
    """Yield what assignments of one site tell: its budget, and its round-trip time where it keeps its hub."""
    rows = {row.site: row for row in old.assignments}
    pairs = {(row.site, row.hub): row for row in old.assignments}
    for row in {row.site: row for row in new.assignments}.values():
        same, pair = rows.get(row.site), pairs.get((row.site, row.hub))
        if same is not None and same.budget_ms != row.budget_ms:
            texts = text_of(same.budget_ms), text_of(row.budget_ms)
            yield FleetChange("site", "Sites", row.site, "latency_budget_ms", *texts)
        if pair is not None and pair.rtt_ms != row.rtt_ms:
            texts = text_of(pair.rtt_ms), text_of(row.rtt_ms)
            yield FleetChange("latency", "Latency", row.site, "rtt_ms", *texts, hub=row.hub)
