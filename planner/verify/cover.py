"""Can the standbys take over, and does the plan survive the loss that the policy wants covered?"""

from __future__ import annotations

from collections.abc import Iterator

from planner.plan import Assignment
from planner.verify.case import Case
from planner.verify.rules import broken_rules
from planner.verify.violation import Violation, whole


def check_cover(case: Case) -> Iterator[Violation]:
    """Check each standby by itself, then each loss of a host or of a hub."""
    for row in case.plan.assignments:
        yield from _standby(case, row)
    if case.inventory.policy.cover != "none":
        yield from _losses(case)


def _standby(case: Case, row: Assignment) -> Iterator[Violation]:
    where, cover = f"site {row.site}", case.inventory.policy.cover
    if not row.standby:
        if cover != "none":
            yield Violation("standby", where, f"no standby, but the policy covers the loss of a {cover}")
        return
    if row.standby == row.host:
        yield Violation("standby", where, f"host {row.host} is its own standby")
    standby, site = case.hosts.get(row.standby), case.inventory.sites.get(row.site)
    if standby is None:
        yield Violation("unknown_host", where, f"standby {row.standby} is not in the plan's list of hosts")
        return
    if cover == "hub" and standby.hub == row.hub and row.standby != row.host:
        yield Violation(
            "standby", where, f"standby {row.standby} stands at hub {row.hub} too, whose loss is to be covered"
        )
    pool = case.pool_of(row.standby)
    if site is not None and pool is not None:
        for code, text in broken_rules(case.inventory, site, pool):
            yield Violation(code, where, f"standby {row.standby}: {text}")


def _losses(case: Case) -> Iterator[Violation]:
    """Check that no standby is overfilled by what one lost host, or one lost hub, sends to it.

    Beyond the cap is a violation; to eat into reserve or blast radius for the time of the loss is a note.
    """
    cover = case.inventory.policy.cover
    arriving: dict[tuple[str, str], int] = {}
    for row in case.plan.assignments:
        if row.standby:
            loss = (row.hub if cover == "hub" else row.host, row.standby)
            arriving[loss] = arriving.get(loss, 0) + (whole(row.clusters) or 0)
    for (lost, standby), more in arriving.items():
        pool, load = case.pool_of(standby), case.loads.get(standby, 0) + more
        if pool is not None and load > pool.usable:
            text = f"loss of {cover} {lost} raises it from {load - more} to {load} clusters, cap {pool.cap}"
            if load > pool.cap:
                yield Violation("cover", f"host {standby}", text)
            else:
                yield Violation("cover", f"host {standby}", f"{text}, usable {pool.usable}", "note")
