"""What is asked of a site together with the hubs: a third location, and a host there that it may use."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

import numpy as np

from planner.counted_words import first_few
from planner.fleet import Bools, Ints
from planner.readiness.audit_items import Item
from planner.readiness.practice import ONE_PLACE_KM
from planner.rules import RULES, Checker, Pairs, Rule

# Nodes and release floor are asked of the site by itself; here they would only hide what else is wrong.
_PAIR_RULES = tuple(rule for rule in RULES if not rule.whole_site)


class HubChecks:
    """The rules of pairs applied to one fleet, read for readiness."""

    def __init__(self, checker: Checker) -> None:
        self._checker = checker
        self._fleet = checker.facts.fleet
        self._pairs = checker.eligible(_PAIR_RULES)
        self._served = np.bincount(self._pairs.site, minlength=len(self._fleet.site_ids)) > 0
        self._apart = self._shown_apart()

    def items(self, site: int) -> Iterator[Item]:
        """Yield what keeps the site, by its position, from a host at a third location."""
        if not self._served[site]:
            yield self._without_a_pool(site)
        elif not self._apart[site]:
            detail = (
                f"neither failure zones nor coordinates show that hub {self.nearest_hub(site)} is at another location"
            )
            remedy = "Fill in column zone, or latitude and longitude, of site and hubs."
            yield Item("third_location", "unknown", self._id(site), detail, remedy, ("zone", "latitude", "longitude"))

    def nearest_hub(self, site: int) -> str:
        """Return the hub of least round-trip time among those that the site may use, ``""`` for none."""
        return self._nearest.get(site, "")

    @cached_property
    def _nearest(self) -> dict[int, str]:
        order = np.lexsort((self._pairs.rtt_ms, self._pairs.site))
        sites, first = np.unique(self._pairs.site[order], return_index=True)
        pools = self._pairs.pool[order[first]]
        return {site: self._hub(pool) for site, pool in zip(sites.tolist(), pools.tolist(), strict=True)}

    def _shown_apart(self) -> Bools:
        """Sites with a pool of theirs that zones stated on both sides, or a distance, show to be elsewhere."""
        at_site = np.array([bool(zones) for zones in self._fleet.sites["zone"]], dtype=np.bool_)
        at_hub = np.zeros(len(self._fleet.hub_ids), dtype=np.bool_)
        for hubs in self._fleet.hubs_in_zones.values():
            at_hub[hubs] = True
        by_zone = at_site[self._pairs.site] & at_hub[self._fleet.hub_of_pool[self._pairs.pool]]
        shown = np.zeros(len(self._fleet.site_ids), dtype=np.bool_)
        shown[self._pairs.site[by_zone]] = True
        left = self._pairs.take(~shown[self._pairs.site])
        while len(left):  # the first pool of a site settles nearly all of them, so distances are few
            _, first = np.unique(left.site, return_index=True)
            far = self._checker.facts.farther_than(ONE_PLACE_KM, left.take(first))
            shown[left.site[first[far]]] = True
            later: Bools = np.ones(len(left), dtype=np.bool_)
            later[first] = False
            left = left.take(later & ~shown[left.site])
        return shown

    def _without_a_pool(self, site: int) -> Item:
        """Return why no pool may carry the site: no third location, or none that the other rules allow."""
        broken = self._checker.broken(site, _PAIR_RULES)
        pools = len(self._fleet.pool_ids)
        at_home = next((pairs for rule, pairs in broken if rule.code == "third_location"), None)
        if pools == 0 or (at_home is not None and len(at_home) == pools):
            return self._no_third_location(site, at_home)
        elsewhere: Ints = np.setdiff1d(np.arange(pools), at_home.pool if at_home is not None else [])
        others = [(rule, pairs) for rule, pairs in broken if rule.code != "third_location"]
        wanting = self._only_latency_wanting(elsewhere, others)
        if len(wanting):
            hubs = sorted({self._hub(pool) for pool in wanting.tolist()})
            detail = f"the round-trip time is not known to hub {first_few(hubs)}; nothing else keeps the site out of it"
            remedy = "Measure the round-trip time to a hub and fill in the sheet Latency."
            return Item("eligible_hub", "unknown", self._id(site), detail, remedy)
        reasons = "; ".join(f"{rule.code}: {rule.why(self._checker.facts, pairs)}" for rule, pairs in others)
        detail = f"{reasons}. {self._checker.nearest_remedy(site, _PAIR_RULES)}"
        remedy = "Remove what keeps the site out of every hub; the detail names the smallest change."
        return Item("eligible_hub", "open", self._id(site), detail, remedy)

    def _no_third_location(self, site: int, at_home: Pairs | None) -> Item:
        code, name = "third_location", self._id(site)
        if at_home is None:
            return Item(code, "open", name, "the fleet has no hub", "Add a hub.")
        facts = self._checker.facts
        zoned = np.isin(facts.site_hub_keys(at_home.site, facts.hub(at_home)), facts.shared_zones)
        settled = zoned | (facts.same_place[at_home.site] == facts.hub(at_home))
        if (np.isnan(facts.distance_km(at_home)) & ~settled).any():
            least = self._fleet.policy.third_location_km
            detail = f"no hub is shown to be {least:g} km away (third_location_km): coordinates are missing"
            remedy = "Fill in latitude and longitude of site and hubs."
            return Item(code, "unknown", name, detail, remedy, ("latitude", "longitude"))
        rule = next(rule for rule in _PAIR_RULES if rule.code == code)
        remedy = "Add a hub at another location, or correct zone and coordinates."
        return Item(code, "open", name, rule.why(facts, at_home), remedy, ("zone", "latitude", "longitude"))

    @staticmethod
    def _only_latency_wanting(pools: Ints, broken: list[tuple[Rule, Pairs]]) -> Ints:
        """Return those of ``pools`` that an unknown round-trip time alone bars."""
        by_code = {rule.code: pairs.pool for rule, pairs in broken}
        barred = [by_code[code] for code in by_code if code != "unknown_latency"]
        unmeasured: Ints = np.intersect1d(pools, by_code.get("unknown_latency", np.empty(0, dtype=np.int64)))
        return np.setdiff1d(unmeasured, np.concatenate(barred)) if barred else unmeasured

    def _hub(self, pool: int) -> str:
        return self._fleet.hub_ids[int(self._fleet.hub_of_pool[pool])]

    def _id(self, site: int) -> str:
        return self._fleet.site_ids[site]
