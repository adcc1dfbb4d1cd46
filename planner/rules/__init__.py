"""Who may use whom. A pair of site and pool is eligible when no rule breaks it.

To add a rule: a mask in `masks`, a reason in `reasons`, a row in ``RULES``, and its twin in `planner.verify`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from planner.counted_words import first_few
from planner.fleet import Bools, Fleet, Ints
from planner.latency.pair_frame import judged
from planner.own import OwnRule
from planner.plan import Reason
from planner.rules import masks, reasons
from planner.rules.facts import Facts
from planner.rules.mending import Change, nearest_mend
from planner.rules.pairs import Pairs, pool_pairs

__all__ = ["RULES", "STANDBY_RULES", "Checker", "Pairs", "Rule"]


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule by its code: ``broken`` masks pairs, ``why`` words the pairs of one site that break it."""

    code: str
    broken: Callable[[Facts, Pairs], Bools]
    why: Callable[[Facts, Pairs], str]
    whole_site: bool = False  # it breaks all pairs of a site or none
    ordinary_day: bool = False  # it limits the ordinary day, so it does not keep a standby from taking over
    loss: bool = False  # it limits a standby, which serves while a loss lasts, and not the ordinary day


# Cheap ones first, so that the costly ones see only what is left.
_ALL = (
    Rule("nodes", masks.nodes, reasons.nodes, whole_site=True),
    Rule("release_floor", masks.release_floor, reasons.release_floor, whole_site=True),
    Rule("unknown_latency", masks.unknown_latency, reasons.unknown_latency),
    Rule("latency", masks.latency, reasons.latency, ordinary_day=True),
    Rule("latency", masks.loss_latency, reasons.loss_latency, loss=True),
    Rule("loss", masks.loss, reasons.loss),
    Rule("evidence", masks.evidence, reasons.evidence),
    Rule("old_latency", masks.old_latency, reasons.old_latency),
    Rule("pinned_hub", masks.pinned_hub, reasons.pinned_hub),
    Rule("barred_hub", masks.barred_hub, reasons.barred_hub),
    Rule("region", masks.region, reasons.region),
    Rule("host_release", masks.host_release, reasons.host_release),
    Rule("capacity", masks.capacity, reasons.capacity),
    Rule("uplink", masks.uplink, reasons.uplink, ordinary_day=True),
    Rule("blast_radius", masks.blast_radius, reasons.blast_radius, whole_site=True, ordinary_day=True),
    Rule("third_location", masks.third_location, reasons.third_location),
)
RULES = tuple(rule for rule in _ALL if not rule.loss)
STANDBY_RULES = tuple(rule for rule in _ALL if not rule.ordinary_day)


def _own_rule(own: OwnRule) -> Rule:
    """Return a rule of the caller's own as one of these."""

    def broken(facts: Facts, pairs: Pairs) -> Bools:
        return judged(facts.fleet, own, pairs.site, pairs.pool, pairs)[0]

    def why(facts: Facts, pairs: Pairs) -> str:
        reasons = judged(facts.fleet, own, pairs.site, pairs.pool, pairs)[1]
        return f"{first_few(dict.fromkeys(reasons))} (your own rule {own.name})"

    return Rule(own.code, broken, why)


_KEPT = "_checker"  # among the properties that a fleet keeps


class Checker:
    """The rules applied to one fleet."""

    def __init__(self, fleet: Fleet) -> None:
        self.facts = Facts(fleet)
        self.own = tuple(_own_rule(rule) for rule in fleet.own_rules)
        self._eligible: dict[tuple[Rule, ...], Pairs] = {}
        self.next_host: dict[int, Change] = {}  # of pools, as far as it was asked for; see `mending`

    @classmethod
    def of(cls, fleet: Fleet) -> Checker:
        """Return the checker of ``fleet``, which is made once and kept with the fleet."""
        kept = fleet.__dict__
        if _KEPT not in kept:
            kept[_KEPT] = cls(fleet)
        checker: Checker = kept[_KEPT]
        return checker

    @property
    def needs_host(self) -> Bools:
        """Sites that need a shared host, shape (sites,)."""
        return self.facts.fleet.needs_host

    def eligible(self, rules: Sequence[Rule] = RULES) -> Pairs:
        """Return every pair that breaks none of ``rules``, sorted by site and pool position; not to be changed."""
        asked = tuple(rules)
        if asked not in self._eligible:
            self._eligible[asked] = self._found(rules)
        return self._eligible[asked]

    def _found(self, rules: Sequence[Rule]) -> Pairs:
        pairs = pool_pairs(self.facts.fleet, self.facts.latency)
        pairs = pairs.take(self.needs_host[pairs.site])
        for rule in (*rules, *self.own):
            broken = rule.broken(self.facts, pairs)
            if broken.any():
                pairs = pairs.take(~broken)
        return pairs

    def eligible_with_standbys(self) -> Pairs:
        """Return the eligible pairs of sites that have a home, and with them those on which they may only stand by."""
        pairs = self.eligible(STANDBY_RULES)
        home = np.ones(len(pairs), dtype=np.bool_)
        for rule in RULES:
            if rule.ordinary_day:
                home &= ~rule.broken(self.facts, pairs)
        return pairs.take(np.isin(pairs.site, pairs.site[home]))

    def against(self, site: int) -> Pairs:
        """Return the pairs of one site with every pool in order of id, known RTT or not."""
        fleet, known = self.facts.fleet, self.facts.latency
        low, high = self._of_site[site : site + 2]
        of_hub = np.full(len(fleet.hub_ids), -1, dtype=np.int64)
        mine = known.take(slice(int(low), int(high)))
        of_hub[mine.hub] = np.arange(len(mine))
        by_id = self._by_id
        return Pairs.of(np.full(len(by_id), site), by_id, mine.at(of_hub[fleet.hub_of_pool[by_id]]))

    @cached_property
    def _of_site(self) -> Ints:
        """Where the known pairs of each site begin, and where the last ones end, shape (sites + 1,)."""
        sites = np.arange(len(self.facts.fleet.site_ids) + 1)
        return np.searchsorted(self.facts.latency.site, sites)

    @cached_property
    def _by_id(self) -> Ints:
        """Positions of pools in order of id."""
        ids = self.facts.fleet.pool_ids
        return np.array(sorted(range(len(ids)), key=ids.__getitem__), dtype=np.int64)

    def broken(self, site: int, rules: Sequence[Rule] = RULES) -> list[tuple[Rule, Pairs]]:
        """Return each of ``rules`` that keeps the site from some pool, with the pairs it breaks."""
        return self.breaking(self.against(site), rules)

    def breaking(self, pairs: Pairs, rules: Sequence[Rule] = RULES) -> list[tuple[Rule, Pairs]]:
        """Return each of ``rules`` that some of ``pairs`` break, with those that do."""
        rules = (*rules, *self.own)
        return [(rule, pairs.take(mask)) for rule in rules if (mask := rule.broken(self.facts, pairs)).any()]

    def reasons(self, site: int) -> tuple[Reason, ...]:
        """Return each rule that keeps the site from some pool, in words and with figures."""
        pools = len(self.facts.fleet.pool_ids)
        found = []
        for rule, pairs in self.broken(site):
            scope = "" if rule.whole_site or len(pairs) == pools else f" [{len(pairs)} of {pools} pools]"
            found.append(Reason(rule.code, rule.why(self.facts, pairs) + scope))
        return tuple(found)

    def nearest_remedy(self, site: int, rules: Sequence[Rule] = RULES) -> str:
        """Return the change that would make the site eligible under ``rules``, see `planner.rules.mending`."""
        return nearest_mend(self, site, rules)
