"""Where the policy keeps sites served: does one that is not served today have the place of one that is?"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from planner.plan import Assignment
from planner.verify.case import Case
from planner.verify.inventory import Site
from planner.verify.rules import eligible
from planner.verify.violation import Violation


def check_kept(case: Case) -> Iterator[Violation]:
    """Check each unserved site that is served today against the sites of every host that it may use.

    To let it take the place of a site that brings at least as much to each limit breaks none. A plan that does not
    claim the greatest weight of such sites is only noted.
    """
    if not case.inventory.policy.keep_served:
        return
    claimed = all(aim.proven for aim in case.plan.before if aim.aim == "kept_served")
    newcomers = [row for row in case.plan.assignments if _is_new(case, row)]
    for entry in case.plan.unserved:
        site = case.inventory.sites.get(entry.site)
        if site is None or not site.needs_host or site.site not in case.inventory.current:
            continue
        for row in newcomers:
            pool = case.pool_of(row.host)
            if pool is not None and _brings_less(case, site, row) and eligible(case.inventory, site, pool):
                text = (
                    f"has a host today but none in the plan, while site {row.site}, without a host today, "
                    f"gets {row.host}"
                )
                yield Violation("kept_served", f"site {site.site}", text, "violation" if claimed else "note")
                break


def _is_new(case: Case, row: Assignment) -> bool:
    """Say whether the site of a row has no host today, and all its clusters on this one in the plan."""
    return row.site in case.inventory.sites and row.site not in case.inventory.current and len(case.rows[row.site]) == 1


def _brings_less(case: Case, site: Site, row: Assignment) -> bool:
    """Say whether ``site`` brings no more clusters or traffic than that of ``row``, nor weight where that counts."""
    other = case.inventory.sites[row.site]
    brought: list[tuple[Fraction | float, Fraction | float]] = [(site.clusters, other.clusters)]
    brought.append((site.clusters * site.cluster_kbps, other.clusters * other.cluster_kbps))
    policy = case.inventory.policy
    shares = (policy.max_share_percent, policy.max_share_percent_hub, policy.max_share_percent_zone)
    if any(share is not None for share in shares):
        brought.append((site.weight, other.weight))
    return all(mine <= theirs for mine, theirs in brought)
