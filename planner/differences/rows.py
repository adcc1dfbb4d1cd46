"""Every difference between two plans at sites and hosts, each with its cause."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from planner.differences.causes import Causes, Found
from planner.differences.difference import Cause, HostDifference, SiteDifference, What
from planner.differences.plan_changes import sites_of
from planner.differences.served import rows_of
from planner.differences.sides import Sides
from planner.plan import Assignment, Host, Plan

_UNSERVED, _NO_NEED = "unserved", "no host needed"


def site_differences(causes: Causes) -> tuple[SiteDifference, ...]:
    """Return all that differs at sites, sorted by site."""
    sides = causes.sides
    old, new = _Rows(sides.old), _Rows(sides.new)
    found = []
    for site in sorted(sites_of(sides.old) | sites_of(sides.new)):
        found += list(_of_site(causes, site, old, new))
    return tuple(found)


class _Rows:
    """A plan by site: what it says of each."""

    def __init__(self, plan: Plan) -> None:
        self.sites = sites_of(plan)
        self.rows = rows_of(plan)
        self.unserved = {entry.site: tuple(reason.code for reason in entry.reasons) for entry in plan.unserved}
        self.spared = {entry.site: entry.why for entry in plan.no_host_needed}

    def said(self, site: str) -> str:
        """Return the hosts of the site, or why it has none; "" where it is not in the plan."""
        if site in self.rows:
            return " and ".join(dict.fromkeys(row.host for row in self.rows[site]))
        return _UNSERVED if site in self.unserved else _NO_NEED if site in self.spared else ""


def _of_site(causes: Causes, site: str, old: _Rows, new: _Rows) -> Iterator[SiteDifference]:
    before, after = old.said(site), new.said(site)
    if not before or not after:
        what: What = "opened" if after else "closed"
        words = "The site is new." if after else "The site is gone."
        yield SiteDifference(site, what, before, after, "opened" if after else "closed", words, False, (site,))
    elif site in old.rows and site in new.rows:
        if before != after:
            yield _row(site, "other host", before, after, causes.of_host_change(site))
        else:
            yield from _margin(causes.sides, site, old.rows[site], new.rows[site])
        yield from _standby(causes, site, old.rows[site], new.rows[site])
    elif site in old.rows and site in new.unserved:
        yield _row(site, "left out", before, after, causes.of_left_out(site))
    elif site in old.unserved and site in new.rows:
        yield _row(site, "served", before, after, causes.of_served(site))
    elif site in old.unserved and site in new.unserved:
        yield from _reasons(causes, site, old.unserved[site], new.unserved[site])
    elif before != after:
        yield _row(site, "need", before, after, _need(causes, site))


def _row(site: str, what: What, old: str, new: str, found: Found) -> SiteDifference:
    return SiteDifference(site, what, old, new, found.cause, found.why, found.planned, found.behind)


def _margin(sides: Sides, site: str, old: Sequence[Assignment], new: Sequence[Assignment]) -> Iterator[SiteDifference]:
    for one, other in zip(old, new, strict=False):
        if round(one.margin_ms - other.margin_ms, 6):
            texts = f"{one.margin_ms:.10g} ms", f"{other.margin_ms:.10g} ms"
            yield _row(site, "margin", *texts, _of_margin(sides, one, other))


def _of_margin(sides: Sides, old: Assignment, new: Assignment) -> Found:
    if old.rtt_ms != new.rtt_ms:
        policy = [row for name in ("percentile", "unknown_latency") for row in sides.changes_of("Policy", name)]
        measured = [row for row in sides.changes_of("Latency", old.site) if row.hub == new.hub]
        words = f"RTT to {new.hub} {old.rtt_ms:.10g} ms -> {new.rtt_ms:.10g} ms."
        if measured or not policy:
            return Found("latency", words, False, (old.site,))
        return Found("policy", words, False, tuple(row.id for row in policy))
    own = [row for row in sides.changes_of("Sites", old.site) if row.column == "latency_budget_ms"]
    words = f"Latency budget {old.budget_ms:.10g} ms -> {new.budget_ms:.10g} ms."
    if own or not sides.changes_of("Policy", "latency_budget_ms"):
        return Found("site", words, False, (old.site,))
    return Found("policy", words, False, ("latency_budget_ms",))


def _standby(
    causes: Causes, site: str, old: Sequence[Assignment], new: Sequence[Assignment]
) -> Iterator[SiteDifference]:
    before, after = (" and ".join(sorted({row.standby for row in rows if row.standby})) for rows in (old, new))
    if before == after:
        return
    elsewhere = {row.host for row in old} != {row.host for row in new}
    if elsewhere and before and after:
        found = Found(causes.of_host_change(site).cause, "The site has another host.")
    else:
        found = causes.of_standby(site, before, after)
    yield _row(site, "standby", before or "none", after or "none", found)


def _reasons(causes: Causes, site: str, old: Sequence[str], new: Sequence[str]) -> Iterator[SiteDifference]:
    if set(old) == set(new):
        return
    sheets = (("Sites", site), ("Latency", site))
    rows = [row for sheet, key in sheets for row in causes.sides.changes_of(sheet, key) if row.cause != "other"]
    rows += [row for row in causes.sides.changes if row.sheet in ("Policy", "Hubs") and row.cause != "other"]
    if rows:
        words = f"{rows[0].sheet} {rows[0].id}: {rows[0].column} {rows[0].old or 'blank'} -> {rows[0].new or 'blank'}."
        found = Found(rows[0].cause, words, False, (rows[0].id,))
    else:
        same = "No input that decides which hosts this site may use has changed."
        found = Found("unknown", causes.why_no_road or same)
    yield _row(site, "other reasons", ", ".join(old), ", ".join(new), found)


def _need(causes: Causes, site: str) -> Found:
    rows = [row for row in causes.sides.changes_of("Sites", site) if row.column in ("own_tie_breaker", "clusters")]
    if rows:
        words = f"{rows[0].column} {rows[0].old or 'blank'} -> {rows[0].new or 'blank'}."
        return Found("site", words, False, (site,))
    choice = "Another equally good plan decides this differently."
    return causes.by_planning(lambda plan: site in {entry.site for entry in plan.no_host_needed}, choice)


def host_differences(causes: Causes, sites: Sequence[SiteDifference]) -> tuple[HostDifference, ...]:
    """Return all that differs of hosts: those of one plan only, those that are another thing, and other loads."""
    old, new = ({host.host: host for host in plan.host_list} for plan in (causes.sides.old, causes.sides.new))
    found = []
    for name in sorted({*old, *new}):
        before, after = old.get(name), new.get(name)
        if before is None or after is None:
            found.append(_come_or_gone(name, before, after, causes.of_host(name)))
        else:
            found += list(_kept(causes, before, after, sites))
    return tuple(found)


def _come_or_gone(name: str, before: Host | None, after: Host | None, found: Found) -> HostDifference:
    host = before or after
    assert host is not None
    what = "no longer runs" if after is None else "new in the plan"
    old = None if before is None else before.clusters
    new = None if after is None else after.clusters
    return HostDifference(name, host.hub, what, old, new, found.cause, found.why, found.planned, found.behind)


def _kept(causes: Causes, before: Host, after: Host, sites: Sequence[SiteDifference]) -> Iterator[HostDifference]:
    clusters = before.clusters, after.clusters
    if before.pool != after.pool:
        words = f"Its pool was {before.pool}, and is {after.pool}."
        yield HostDifference(after.host, after.hub, "other pool", *clusters, "hub", words, False, (after.pool,))
    if before.release != after.release:
        words = f"Release {before.release or 'unknown'} -> {after.release or 'unknown'}."
        yield HostDifference(after.host, after.hub, "other release", *clusters, "release", words, False, (after.pool,))
    if (before.cap, before.usable) != (after.cap, after.usable):
        policy = [row for row in causes.sides.changes if row.sheet == "Policy" and row.cause == "policy"]
        words = f"Cap {before.cap} -> {after.cap}, usable {before.usable} -> {after.usable}."
        own = [row for row in causes.sides.changes_of("Hubs", after.pool) if row.column == "cluster_cap"]
        cause: Cause = "policy" if policy and not own else "hub"
        behind = tuple(row.id for row in policy) if cause == "policy" else (after.pool,)
        yield HostDifference(after.host, after.hub, "other cap", *clusters, cause, words, False, behind)
    if before.clusters != after.clusters:
        yield _load(causes, before, after, sites)


def _load(causes: Causes, before: Host, after: Host, sites: Sequence[SiteDifference]) -> HostDifference:
    name = after.host
    there = [row for row in sites if name in row.old.split(" and ") or name in row.new.split(" and ")]
    rows = [row for row in there if row.what not in ("margin", "standby")]
    clusters = before.clusters, after.clusters
    if not rows:
        words = "Sites on it have other numbers of clusters."
        changed = [row.id for row in causes.sides.changes if row.column == "clusters"]
        behind = tuple(site for site in changed if name in causes.sides.new_hosts.get(site, ()))
        return HostDifference(name, after.hub, "other load", *clusters, "site", words, False, behind)
    causes_of_rows = Counter(row.cause for row in rows)
    cause = causes_of_rows.most_common(1)[0][0]
    behind = tuple(dict.fromkeys(row.site for row in rows))
    most = ", most of them by this cause" if len(causes_of_rows) > 1 and cause != "unknown" else ""
    words = f"Sites that were added, removed or changed: {len(behind):,}{most}."
    return HostDifference(name, after.hub, "other load", *clusters, cause, words, any(r.planned for r in rows), behind)
