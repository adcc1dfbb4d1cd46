"""Which pool the hosts of the sheet Current are of: what is stated wrongly, and what has to be asked."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from planner.counted_words import counted, first_few
from planner.fleet import Fleet
from planner.intake.findings import Findings, show
from planner.intake.tables import TypedSheet
from planner.running import Question, running_hosts
from planner.standing import standing_hosts

if TYPE_CHECKING:
    from planner.intake.draft import Draft


def check_pools_of_hosts(current: TypedSheet, pools: TypedSheet, findings: Findings) -> None:
    """Report stated pools that stand at another hub, and leave them out; and hosts with two pools."""
    frame = current.frame
    hub_of = dict(zip(pools.frame["pool"], pools.frame["hub"], strict=True))
    first: dict[tuple[str, str], int] = {}
    stated = frame["pool"].tolist()
    for row, (hub, host, pool) in enumerate(zip(frame["hub"], frame["host"], stated, strict=True)):
        if not pool:
            continue
        place = current.place(row, "pool")
        if hub_of[pool] != hub:
            stated[row] = ""
            findings.add("pool_elsewhere", place, "pool", value=show(pool), hub=show(hub), other=show(hub_of[pool]))
        elif host and frame["pool"].iloc[other := first.setdefault((hub, host), row)] != pool:
            there = current.place(other, "pool").cell
            findings.add("host_two_pools", place, "pool", value=show(host), pool=show(pool), other=there)
    frame["pool"] = stated


def pools_of_hosts(draft: Draft, fleet: Fleet) -> None:
    """Ask for the pool of hosts that several pools fit, or none."""
    if draft.current is None or draft.findings.any_error:
        return  # releases and caps that cannot be read would fit nothing
    for question in running_hosts(fleet).questions:
        _ask(draft.current, question, draft.findings)


def _ask(current: TypedSheet, question: Question, findings: Findings) -> None:
    frame = current.frame
    asked = frame["hub"].eq(question.hub) & frame["site"].isin(question.sites) & frame["pool"].eq("")
    asked &= frame["host"].isin(question.hosts or [""])
    column = "pool" if "pool" in current.match.known else "host"
    row = int(asked.to_numpy().argmax())
    words: dict[str, object] = {
        "hub": show(question.hub),
        "hosts": _named("host", question.hosts),
        "sites": _named("site", question.sites),
        "pools": first_few(question.pools),
        "taken": first_few(question.taken),
    }
    code = "host_pool_unclear" if question.hosts else "site_pool_unclear"
    code = code if question.pools else "host_pool_none"
    findings.add(code, current.place(row, column), column, **words)


def hosts_that_run(draft: Draft, fleet: Fleet) -> None:
    """Where ``existing_hosts`` is blank, count what Current speaks for; elsewhere hold the two against each other."""
    if draft.current is None or draft.findings.any_error:
        return
    told = standing_hosts(draft.fleet)
    counted_for = defaultdict[str, list[str]](list)
    for pool, blank, hosts, named in zip(fleet.pool_ids, told.blank, told.hosts, told.named, strict=True):
        if blank:
            counted_for["existing_named" if hosts == named else "existing_assumed"].append(f"{hosts} at {pool}")
    stated = (fleet.existing_hosts + fleet.retiring_of_pool).tolist()
    for p, pool in enumerate(fleet.pool_ids):
        place = draft.pools.place(p, "existing_hosts")
        hosts, named = int(told.hosts[p]), int(told.named[p])
        if told.blank[p]:
            code = "existing_named" if hosts == named else "existing_assumed"
            draft.findings.note(code, place, "existing_hosts", example=draft.findings.some(counted_for[code]))
        elif hosts > max(named, stated[p]):
            words = {"pool": show(pool), "needed": counted(hosts, "host"), "existing": stated[p]}
            draft.findings.add("existing_few", place, "existing_hosts", **words)


def _named(noun: str, names: tuple[str, ...]) -> str:
    return f"{counted(len(names), noun)} ({first_few(names)})"


CHECKS = (pools_of_hosts, hosts_that_run)
