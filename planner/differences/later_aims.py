"""The later aims of the new plan, counted alike in two plans of the new fleet."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping

from planner.counted_words import counted
from planner.fleet import Fleet
from planner.plan import Plan

_CLOSE = 2e-3  # plans settle these aims in steps of a microsecond, and sums of them to a thousandth


def first_difference(fleet: Fleet, new: Plan, other: Plan) -> tuple[int, str]:
    """Return how ``other`` compares with ``new`` on the first later aim of ``new`` that tells them apart.

    -1 stands for worse, 1 for better, 0 for alike in all of them; with the words for it. An own aim of the caller
    cannot be counted here: what comes after it is not looked at.
    """
    for aim in new.then:
        if str(aim.aim) not in _VALUES:
            break
        count, words, better = _VALUES[str(aim.aim)]
        one, two = count(fleet, new), count(fleet, other)
        if abs(one - two) > _CLOSE:
            return (1 if (two - one) * better > 0 else -1), words(two, one)
    return 0, ""


def _moves(fleet: Fleet, plan: Plan) -> float:
    """Return the sites of Current that ``plan`` serves elsewhere.

    Where Current names no host, a site stays on any host at its hub that is not new.
    """
    existing = {host.host for host in plan.host_list if host.existing}
    hosts: dict[str, set[str]] = defaultdict(set)
    for row in plan.assignments:
        hosts[row.site] |= {row.host, row.hub} if row.host in existing else {row.host}
    table = fleet.current
    stay, today = set(), set()
    for site, hub, host in zip(table["site"], table["hub"], table["host"], strict=True):
        today.add(site)
        if (host or hub) in hosts.get(site, ()):
            stay.add(site)
    spared = {entry.site for entry in plan.no_host_needed}
    return float(len((today & (set(hosts) | spared)) - stay))


def _latency(_fleet: Fleet, plan: Plan) -> float:
    pools = {host.host: host.pool for host in plan.host_list}
    return math.fsum({(row.site, pools.get(row.host, row.host)): row.rtt_ms for row in plan.assignments}.values())


def _margin(_fleet: Fleet, plan: Plan) -> float:
    return min((row.margin_ms for row in plan.assignments), default=0.0)


def _spread(_fleet: Fleet, plan: Plan) -> float:
    return float(max((host.clusters for host in plan.host_list), default=0))


def _moves_in_words(other: float, new: float) -> str:
    return f"moves {counted(round(other), 'site')} from today's hosts instead of {new:,.0f}"


def _latency_in_words(other: float, new: float) -> str:
    return f"has a total round-trip time of {other:,.1f} ms instead of {new:,.1f} ms"


def _margin_in_words(other: float, new: float) -> str:
    return f"has a smallest latency margin of {other:,.1f} ms instead of {new:,.1f} ms"


def _spread_in_words(other: float, new: float) -> str:
    return f"puts {counted(round(other), 'cluster')} on its fullest host instead of {new:,.0f}"


_VALUES: Mapping[str, tuple[Callable[[Fleet, Plan], float], Callable[[float, float], str], int]] = {
    "moves": (_moves, _moves_in_words, -1),
    "latency": (_latency, _latency_in_words, -1),
    "margin": (_margin, _margin_in_words, 1),
    "spread": (_spread, _spread_in_words, -1),
}
