"""Is every site in the plan once, with all its clusters, and rightly in the list where it stands?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Literal

from planner.own import PREFIX
from planner.plan import Assignment, NoHostNeeded, Unserved
from planner.verify.case import Case
from planner.verify.inventory import Site
from planner.verify.rules import RULE_CODES, eligible
from planner.verify.violation import Violation, differs, whole


def check_sites(case: Case) -> Iterator[Violation]:
    """Check the lists of the plan against the sites of the fleet."""
    sites = case.inventory.sites
    unserved = Counter(entry.site for entry in case.plan.unserved)
    no_host_needed = Counter(entry.site for entry in case.plan.no_host_needed)
    for name in dict.fromkeys((*case.rows, *unserved, *no_host_needed)):
        if name not in sites:
            yield Violation("unknown_site", f"site {name}", "the fleet has no such site")
    for site in sites.values():
        rows = case.rows.get(site.site, [])
        yield from _once(site, len(rows), unserved[site.site], no_host_needed[site.site])
        if rows:
            yield from _clusters(site, rows, case.inventory.policy.split_sites)
    for entry in case.plan.unserved:
        if entry.site in sites:
            yield from _unserved(case, sites[entry.site], entry)
    for claim in case.plan.no_host_needed:
        if claim.site in sites:
            yield from _no_host_needed(sites[claim.site], claim)


def _once(site: Site, rows: int, unserved: int, no_host_needed: int) -> Iterator[Violation]:
    where = f"site {site.site}"
    lists = [
        f"{name} ({count})" if count > 1 else name
        for name, count in (
            ("assigned", min(rows, 1)),
            ("unserved", unserved),
            ("needing no shared host", no_host_needed),
        )
        if count
    ]
    if len(lists) > 1 or unserved > 1 or no_host_needed > 1:
        yield Violation("listed_twice", where, f"is in more than one list, or twice in one: {', '.join(lists)}")
    if not lists and site.needs_host:
        yield Violation(
            "missing_site",
            where,
            f"has {site.clusters} clusters, but is not in the plan: neither assigned nor unserved",
        )
    if (rows or unserved) and not site.needs_host:
        why = "it has no clusters" if site.clusters == 0 else "it has its own tie-breaker"
        yield Violation("host_not_needed", where, f"is listed as {lists[0]}, but {why} and needs no host")


def _clusters(site: Site, rows: list[Assignment], may_split: bool) -> Iterator[Violation]:
    where = f"site {site.site}"
    counts = [whole(row.clusters) for row in rows]
    if len(rows) > 1 and not may_split:
        hosts = ", ".join(str(row.host) for row in rows)
        yield Violation(
            "listed_twice", where, f"is assigned {len(rows)} times ({hosts}), but split_sites in Policy is no"
        )
    for row, count in zip(rows, counts, strict=True):
        if count is None or count < 1:
            yield Violation(
                "clusters",
                where,
                f"the number of its clusters on host {row.host} is {row.clusters}; it must be a whole "
                "number, 1 or more",
            )
    total = sum(count or 0 for count in counts)
    if total != site.clusters:
        yield Violation("clusters", where, f"the plan assigns {total} clusters; the site has {site.clusters}")


def _unserved(case: Case, site: Site, entry: Unserved) -> Iterator[Violation]:
    """Check an unserved site. Whether there was room for it is not second-guessed, whether a rule bars it is."""
    where = f"site {site.site}"
    if differs(entry.clusters, site.clusters):
        yield Violation(
            "claim", where, f"the plan lists {entry.clusters} clusters as unserved; the site has {site.clusters}"
        )
    today = {was.host or was.hub for was in case.inventory.current.get(site.site, [])}
    if (entry.current or "") not in (today or {""}):
        said, planned = ", ".join(sorted(today)) or "nobody", entry.current or "nobody"
        # Plans of other programs need not say it.
        severity: Literal["violation", "note"] = "violation" if entry.current else "note"
        yield Violation(
            "current", where, f"the plan says that {planned} serves it today; the sheet Current says {said}", severity
        )
    codes = {reason.code for reason in entry.reasons}
    if not codes:
        yield Violation("unserved", where, "is unserved, and the plan gives no reason")
    unknown = {code for code in codes if code.startswith(PREFIX)} - case.inventory.own.codes
    if unknown:
        names = ", ".join(sorted(code.removeprefix(PREFIX) for code in unknown))
        text = f"is unserved by the own rule {names}, which was given to the plan but not to verify; it was not checked"
        yield Violation("own_rule", where, text, "note")
    if codes and codes <= RULE_CODES | case.inventory.own.codes:
        pools = [pool.pool for pool in case.inventory.pools.values() if eligible(case.inventory, site, pool)]
        if pools:
            given = ", ".join(sorted(codes))
            yield Violation(
                "unserved",
                where,
                f"the plan says that rule {given} keeps it from every pool; pool {pools[0]} breaks no rule",
            )


def _no_host_needed(site: Site, claim: NoHostNeeded) -> Iterator[Violation]:
    where = f"site {site.site}"
    if claim.why == "no_clusters":
        if site.clusters:
            yield Violation("host_needed", where, f"the plan says that it has no clusters; it has {site.clusters}")
    elif claim.why != "own_tie_breaker":
        yield Violation(
            "host_needed",
            where,
            f"the plan says that it needs no host because of {claim.why!r}; that is no known reason",
        )
    elif site.own_tie_breaker not in ("yes", "possible"):
        yield Violation(
            "host_needed",
            where,
            f"the plan gives it its own tie-breaker; column own_tie_breaker says {site.own_tie_breaker!r}",
        )
