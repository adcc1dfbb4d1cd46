"""Hosts of the old plan under the names that the new one gives them: other letters make no other host."""

from __future__ import annotations

import dataclasses
from collections import defaultdict

from planner.counted_words import first_few
from planner.fleet import Fleet
from planner.intake.host_names import host_key
from planner.named_alike import named_as_planned
from planner.plan import Plan


def named_as_new(old: tuple[Plan, Fleet | None], new: Plan) -> tuple[Plan, Fleet | None, tuple[str, ...]]:
    """Return the old plan and fleet with hosts called as in ``new``, and a note on those that were called otherwise."""
    plan, fleet = old
    names = _other_names(plan, new)
    if not names:
        return plan, fleet, ()
    called = {host.host: host.host for host in plan.host_list} | names
    hosts = (dataclasses.replace(host, host=called[host.host]) for host in plan.host_list)
    rows = (
        dataclasses.replace(
            row,
            host=called.get(row.host, row.host),
            standby=called.get(row.standby or "", row.standby),
            moved_from=called.get(row.moved_from or "", row.moved_from),
        )
        for row in plan.assignments
    )
    left = (dataclasses.replace(row, current=called.get(row.current or "", row.current)) for row in plan.unserved)
    renamed = plan.replace(host_list=tuple(hosts), assignments=tuple(rows), unserved=tuple(left))
    told = first_few([f"{name} -> {other}" for name, other in names.items()])
    note = f"Hosts whose names differ only in capital letters, dashes or blanks count as the same: {told}."
    return renamed, None if fleet is None else named_as_planned(fleet, renamed)[0], (note,)


def _other_names(old: Plan, new: Plan) -> dict[str, str]:
    there = {host.host for host in new.host_list}
    here = {host.host for host in old.host_list}
    by_key: dict[tuple[str, str], list[str]] = defaultdict(list)
    for host in new.host_list:
        by_key[host.hub, host_key(host.host)].append(host.host)
    found = {}
    for host in old.host_list:
        alike = by_key.get((host.hub, host_key(host.host)), [])
        if host.host not in there and len(alike) == 1 and alike[0] not in here:
            found[host.host] = alike[0]
    return found
