"""Unserved sites by what would help them: ``28 sites: upgrade them to release 8.4 or newer``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from planner.counted_words import counted
from planner.plan import Plan, Unserved

# What one remedy of `planner.rules.mending` says, and what it says of many sites; figures and names of one site go.
_OF_MANY = (
    (re.compile(r"upgrade the site from release .* to (.+)"), r"upgrade them to release \1 or newer"),
    (re.compile(r"upgrade the site to release (.+) instead of .*"), r"upgrade them to release \1 or newer"),
    (re.compile(r"upgrade the hosts of pool .* from release .* to (.+)"), r"upgrade hosts to release \1 or newer"),
    (
        re.compile(r"bring the site and the hosts of pool (.+) to releases .*"),
        r"give them and the hosts of pool \1 releases that suit each other",
    ),
    (re.compile(r"raise its latency budget by .*"), "raise their latency budget, or add a nearer hub"),
    (re.compile(r"pin the site to hub .*"), "pin them to another hub"),
    (re.compile(r"leave .* in the site's barred_hubs .*"), "take hubs out of their barred_hubs"),
    (re.compile(r"let pool (.+) serve regions .*"), r"let pool \1 serve their regions"),
    (re.compile(r"let pool (.+) run .* hosts instead of .*"), r"give pool \1 more hosts"),
    (re.compile(r"let pool (.+) run hosts: .*"), r"let pool \1 run hosts: now it may run none"),
    (re.compile(r"measure the round-trip time to hub .* again"), "measure their round-trip times again"),
    (
        re.compile(r"measure the round-trip time to hub .*, which is only .*"),
        "measure their round-trip times",
    ),
    (re.compile(r"measure the round-trip time to hub .*"), "measure their round-trip times"),
    (re.compile(r"find out why probes to hub .*"), "find out why probes are lost, and measure again"),
    (re.compile(r"repair the network path to hub .*"), "repair the network paths that lose probes, and measure again"),
    (re.compile(r"use a host with room for all \d+ clusters, .*"), "use hosts with room for all their clusters"),
    (re.compile(r"widen the uplink of hub (.+), or .*"), r"widen the uplink of hub \1, or lower their traffic"),
    (re.compile(r"use a hub outside the site's failure zones .*"), "add a hub outside their failure zones"),
)
_TOLD = re.compile(r"To serve .*? from pool .*?: (.*)\.", re.DOTALL)
_SHOWN = 3
_IT = {"them": "it", "their": "its"}
_THEM = re.compile(r"\b(?:them|their)\b")


@dataclass(frozen=True, slots=True)
class Cause:
    """Unserved sites that one thing would help: what to do, the codes of the rules broken, and the sites in order."""

    remedy: str
    codes: tuple[str, ...]
    sites: tuple[str, ...]
    clusters: int

    @property
    def words(self) -> str:
        """In one line, with up to three of the sites."""
        more = f" and {len(self.sites) - _SHOWN:,} more" if len(self.sites) > _SHOWN else ""
        one = len(self.sites) == 1
        remedy = _THEM.sub(lambda word: _IT[word[0]], self.remedy) if one else self.remedy
        return f"{counted(len(self.sites), 'site')}: {remedy} ({', '.join(self.sites[:_SHOWN])}{more})"


def unserved_by_cause(plan: Plan) -> tuple[Cause, ...]:
    """Return the unserved sites of ``plan`` by remedy, those that help most sites first."""
    groups: dict[str, list[Unserved]] = {}
    for unserved in plan.unserved:
        groups.setdefault(remedy_of_many(unserved.remedy), []).append(unserved)
    causes = [_cause(remedy, sites) for remedy, sites in groups.items()]
    return tuple(sorted(causes, key=lambda cause: -len(cause.sites)))


def _cause(remedy: str, sites: Sequence[Unserved]) -> Cause:
    codes = tuple(dict.fromkeys(reason.code for site in sites for reason in site.reasons))
    return Cause(remedy, codes, tuple(site.site for site in sites), sum(site.clusters for site in sites))


def remedy_of_many(remedy: str) -> str:
    """Return what a remedy for one site says of many.

    >>> remedy_of_many("To serve 0666 from pool GOR: upgrade the site from release 7.9 to 8.2.")
    'upgrade them to release 8.2 or newer'
    """
    told = _TOLD.fullmatch(remedy)
    if told is None:
        return remedy.rstrip(".") or "no remedy is known"
    return "; ".join(dict.fromkeys(_step(step) for step in told[1].split("; ")))


def _step(step: str) -> str:
    for pattern, many in _OF_MANY:
        match = pattern.fullmatch(step)
        if match is not None:
            return match.expand(many)
    return step
