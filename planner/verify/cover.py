"""Can the standbys take over, and does the plan survive the loss that the policy wants covered?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction

from planner.plan import Assignment
from planner.verify.case import Case
from planner.verify.inventory import Pool, Site
from planner.verify.rules import broken_rules, eligible
from planner.verify.violation import Violation, differs, ms, whole

_ROUNDING_MS = 0.05  # workbooks show times with one decimal


def check_cover(case: Case) -> Iterator[Violation]:
    """Check each standby by itself, the sites that have none, then replay each loss."""
    for row in case.plan.assignments:
        yield from _standby(case, row) if row.standby else _without(case, row)
    rows = {row.site for row in case.plan.assignments if not row.standby}
    for entry in case.plan.uncovered:
        if entry.site not in rows:
            yield Violation(
                "standby",
                f"site {entry.site}",
                "the plan lists the site as without standby, but it has one, or has no host",
            )
    if case.inventory.policy.cover != "none":
        yield from _losses(case)


def losses_of(case: Case, host: str, pool: Pool) -> set[str]:
    """Return the losses that the policy covers and that take down ``host``, one of ``pool``; a hub is a zone too."""
    cover = case.inventory.policy.cover
    if cover == "host":
        return {f"host {host}"}
    return {f"hub {pool.hub}"} | (case.inventory.zones_of_hub(pool.hub) if cover == "zone" else set())


def _without(case: Case, row: Assignment) -> Iterator[Violation]:
    """Check that a site without standby is listed, and for a reason that holds."""
    cover = case.inventory.policy.cover
    if cover == "none":
        return
    where = f"site {row.site}"
    listed = [entry for entry in case.plan.uncovered if entry.site == row.site]
    if not listed:
        yield Violation(
            "standby", where, f"has no standby and is not listed as without one, although cover in Policy is {cover}"
        )
        return
    site = case.inventory.sites.get(row.site)
    if site is not None and any(reason.code == "cover_place" for reason in listed[0].reasons):
        pair = _two_places(case, site)
        if pair:
            text = f"the plan says no second place can take the site; pools {pair[0]} and {pair[1]} both can"
            yield Violation("standby", where, text)


def _two_places(case: Case, site: Site) -> tuple[str, str] | None:
    """Return a home and a standby pool that no loss takes down together; None where there are none."""
    pools = list(case.inventory.pools.values())
    standbys = [pool for pool in pools if eligible(case.inventory, site, pool, standby=True)]
    for home in (pool for pool in standbys if eligible(case.inventory, site, pool)):
        for other in standbys:
            if home is other:
                enough = case.inventory.policy.cover == "host" and home.max_hosts > 1
            else:
                enough = not losses_of(case, home.pool, home) & losses_of(case, other.pool, other)
            if enough:
                return home.pool, other.pool
    return None


def _standby(case: Case, row: Assignment) -> Iterator[Violation]:
    where, name = f"site {row.site}", str(row.standby)
    if name == row.host:
        yield Violation("standby", where, f"its standby is its own host, {row.host}")
    standby, site = case.hosts.get(name), case.inventory.sites.get(row.site)
    if standby is None:
        yield Violation("unknown_host", where, f"its standby {name} is not in the plan's list of hosts")
        return
    home, pool = case.pool_of(row.host), case.pool_of(name)
    if site is None or pool is None:
        return
    if home is not None and name != row.host and case.inventory.policy.cover != "none":
        for loss in sorted(losses_of(case, row.host, home) & losses_of(case, name, pool)):
            text = f"when {loss} is lost, its host {row.host} and its standby {name} fail together"
            yield Violation("standby", where, text)
    for code, text in broken_rules(case.inventory, site, pool, standby=True):
        yield Violation(code, where, f"its standby {name} cannot serve it: {text}")
    pair = case.inventory.pairs.get(site.site, pool.hub)
    if row.standby_rtt_ms is not None and pair is not None and differs(row.standby_rtt_ms, pair.rtt_ms, _ROUNDING_MS):
        was, now = ms(row.standby_rtt_ms, pair.rtt_ms)
        text = f"the plan gives {was} ms as the RTT to standby {name}; the fleet gives {now} ms"
        anew = case.other_input and pair.evidence == "measured"
        yield Violation("measured_anew", where, text, "note") if anew else Violation("claim", where, text)


def _losses(case: Case) -> Iterator[Violation]:
    """Check that no standby is overfilled by what one loss sends to it.

    Beyond the cap is a violation; to eat into the reserve for the time of the loss is a note, unless a loss may use it.
    """
    may_use = case.inventory.policy.loss_uses_reserve
    reserve = 100 - Fraction(str(case.inventory.policy.reserve_percent))
    arriving: dict[tuple[str, str], int] = {}
    for row in case.plan.assignments:
        pool = case.pool_of(row.host)
        if row.standby and pool is not None:
            for loss in losses_of(case, row.host, pool):
                arriving[loss, row.standby] = arriving.get((loss, row.standby), 0) + (whole(row.clusters) or 0)
    for (lost, standby), more in arriving.items():
        pool, load = case.pool_of(standby), case.loads.get(standby, 0) + more
        if pool is None or load <= (usable := math.floor(pool.cap * reserve / 100)):
            continue
        text = f"when {lost} is lost, it goes from {load - more} to {load} clusters; its cap is {pool.cap}"
        if load > pool.cap:
            yield Violation("cover", f"host {standby}", text)
        elif not may_use:
            yield Violation("cover", f"host {standby}", f"{text}, and {usable} without the reserve", "note")
