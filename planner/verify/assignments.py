"""Does every assignment keep every rule, and are its figures the fleet's?"""

from __future__ import annotations

import math
from collections.abc import Iterator

from planner.counted_words import counted, first_few
from planner.plan import Assignment
from planner.verify.case import Case
from planner.verify.inventory import InForce, Pool, Site
from planner.verify.pairs import Pair
from planner.verify.rules import broken_rules
from planner.verify.running import Running
from planner.verify.violation import Violation, differs, ms, number

# Workbooks show times with one decimal.
ROUNDING_MS = 0.05


def check_assignments(case: Case) -> Iterator[Violation]:
    """Check each assignment by itself."""
    running = Running(case)
    for row in case.plan.assignments:
        where = f"site {row.site}"
        host = case.hosts.get(row.host)
        if host is None:
            yield Violation(
                "unknown_host", where, f"assigned to host {row.host}, which is not in the plan's list of hosts"
            )
        elif row.hub != host.hub:
            yield Violation("hub", where, f"assigned to hub {row.hub}, but its host {row.host} is at hub {host.hub}")
        site, pool = case.inventory.sites.get(row.site), case.pool_of(row.host)
        if site is None:
            continue
        yield from _current(case, running, row)
        if pool is not None:
            yield from (Violation(code, where, text) for code, text in broken_rules(case.inventory, site, pool))
            yield from _claims(case, row, site, pool)
    yield from _carried_out(case, running)
    yield from _measured_anew(case)


def _carried_out(case: Case, running: Running) -> Iterator[Violation]:
    """Note the sites that a plan of an earlier state moves or attaches, and that are where it wants them."""
    there = [
        row.site
        for row in case.plan.assignments
        if row.action != "keep" and any(stays(case, running, row, w) for w in case.inventory.current.get(row.site, []))
    ]
    if there and case.other_input:
        already = "site is already on the host that the plan gives it"
        if len(there) > 1:
            already = "sites are already on the hosts that the plan gives them"
        yield Violation("carried_out", "plan", f"{len(there)} {already}", "note")


def _measured_anew(case: Case) -> Iterator[Violation]:
    """Note the sites whose round-trip time the fleet has from another measurement than a plan of an earlier state."""
    found: dict[str, str] = {}
    for row in case.plan.assignments:
        pool = case.pool_of(row.host)
        pair = None if pool is None else case.inventory.pairs.get(row.site, pool.hub)
        if pair is not None and measured_anew(case, row, pair):
            was, now = ms(row.rtt_ms, pair.rtt_ms)
            found[row.site] = f"{row.site} to {row.hub} {now} ms ({was} ms in the plan)"
    if found:
        told = f"{counted(len(found), 'site')} with another measurement than in the plan"
        yield Violation("measured_anew", "plan", f"{told}: {first_few(list(found.values()))}", "note")


def measured_anew(case: Case, row: Assignment, pair: Pair) -> bool:
    """Say whether the fleet has another measurement of a pair than a plan that was made from other files.

    Such a plan cannot know it. Every rule is held against the fleet's.
    """
    comparable = case.other_input and pair.evidence == "measured" and math.isfinite(number(row.rtt_ms))
    return comparable and any(_claims_of_pair(row, row.hub, pair))


def _claims(case: Case, row: Assignment, site: Site, pool: Pool) -> Iterator[Violation]:
    where = f"site {site.site}"
    pair = case.inventory.pairs.get(site.site, pool.hub)
    if pair is not None and not measured_anew(case, row, pair):
        yield from _claims_of_pair(row, pool.hub, pair)
    if differs(row.budget_ms, site.budget_ms, ROUNDING_MS):
        text = f"the plan gives {row.budget_ms} ms as the latency budget; the fleet gives {site.budget_ms:.10g} ms"
        yield Violation("claim", where, text)


def _claims_of_pair(row: Assignment, hub: str, pair: Pair) -> Iterator[Violation]:
    where = f"site {row.site}"
    if differs(row.rtt_ms, pair.rtt_ms, ROUNDING_MS):
        was, now = ms(row.rtt_ms, pair.rtt_ms)
        yield Violation("claim", where, f"the plan gives {was} ms as the RTT to hub {hub}; the fleet gives {now} ms")
    if row.evidence != pair.evidence:
        text = f"the plan calls the RTT to hub {hub} {row.evidence}; in the fleet it is {pair.evidence}"
        yield Violation("claim", where, text)
    yield from _claims_of_evidence(row, pair)


def _claims_of_evidence(row: Assignment, pair: Pair) -> Iterator[Violation]:
    """Check the date and the range, where the plan states them; plans of earlier versions do not."""
    where = f"site {row.site}"
    measured_at = None if pair.measured_at is None else pair.measured_at.isoformat()
    if row.measured_at is not None and row.measured_at != measured_at:
        text = (
            f"the plan says the RTT to hub {row.hub} was measured on {row.measured_at}; the fleet says "
            f"{measured_at or 'no date'}"
        )
        yield Violation("claim", where, text)
    claimed = (row.rtt_low_ms, row.rtt_high_ms)
    if claimed == (None, None):
        return
    actual = pair.range_ms
    if actual is None or any(differs(*figures, ROUNDING_MS) for figures in zip(claimed, actual, strict=True)):
        said = "no range" if actual is None else f"{actual[0]:.4g} to {actual[1]:.4g} ms"
        text = (
            f"the plan gives {claimed[0]} to {claimed[1]} ms as the range of the RTT to hub {row.hub}; the "
            f"fleet gives {said}"
        )
        yield Violation("claim", where, text)


def _current(case: Case, running: Running, row: Assignment) -> Iterator[Violation]:
    """Check what the plan says about the change: it is a move unless the host, or if unnamed a pool there, is kept."""
    where = f"site {row.site}"
    before = case.inventory.current.get(row.site, [])
    kept = any(stays(case, running, row, was) for was in before)
    action = "attach" if not before else "keep" if kept else "move"
    names = [was.host or was.hub for was in before] if action == "move" else [None]
    today = ", ".join(was.host or was.hub for was in before) or "no host"
    if action == "keep" and row.action != action and case.other_input:
        return  # it is there by now, see `_carried_out`
    if row.action != action:
        text = f"the plan calls the change {row.action!r}; a change from {today} to {row.host} is {action!r}"
        yield Violation("current", where, text)
    if (row.moved_from or None) not in names:
        text = f"the plan says that the site leaves {row.moved_from or 'no host'}; the sheet Current says {today}"
        if action != "move":
            text = f"the plan says that the site leaves {row.moved_from}, but it does not move"
        yield Violation("current", where, text)


def stays(case: Case, running: Running, row: Assignment, was: InForce) -> bool:
    """Say whether an assignment leaves its site where Current has it: on its host, else on any that runs there."""
    if was.hub != row.hub or was.host:
        return was == (row.hub, row.host, was.pool)
    host = case.hosts.get(row.host)
    if host is None:
        return True
    runs = host.existing or (host.hub, host.host) in running.rows or host.host in case.inventory.pools[host.pool].named
    return runs and host.pool in {pool.pool for pool in running.pools_of_site(row.site, was)}
