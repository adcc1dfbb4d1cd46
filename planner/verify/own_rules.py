"""Rules and aims that the caller gives, asked once more with pairs read here: nobody else knows what they want."""

from __future__ import annotations

from collections.abc import Set
from functools import cached_property
from types import SimpleNamespace

import numpy as np

from planner.fleet import Fleet, Ints
from planner.latency import resolve
from planner.latency.pair_frame import costs_of_pairs, judged


class OwnRules:
    """What the caller's own rules break in a fleet, for the pairs whose round-trip time is known."""

    def __init__(self, fleet: Fleet) -> None:
        self._fleet = fleet
        self.codes = frozenset(rule.code for rule in fleet.own_rules)

    def broken(self, site: str, pool: str) -> list[tuple[str, str]]:
        """Return code and reason of each rule that keeps ``site`` from ``pool``."""
        return self._broken.get((site, pool), []) if self.codes else []

    def total(self, code: str, used: Set[tuple[str, str]]) -> float | None:
        """Return what pairs of site and pool come to by the aim of that code; None where nobody gives it here.

        NaN where the round-trip time of one of them is not known.
        """
        aim = next((aim for aim in self._fleet.own_aims if aim.code == code), None)
        if aim is None:
            return None
        fleet, (site, pool, figures) = self._fleet, self._pairs
        names = zip((fleet.site_ids[s] for s in site), (fleet.pool_ids[p] for p in pool), strict=True)
        at = np.array([pair in used for pair in names], dtype=np.bool_)
        if int(at.sum()) < len(used):
            return float("nan")
        taken = SimpleNamespace(**{name: values[at] for name, values in vars(figures).items()})
        return float(costs_of_pairs(fleet, aim, site[at], pool[at], taken).sum())

    @cached_property
    def _broken(self) -> dict[tuple[str, str], list[tuple[str, str]]]:
        fleet, (site, pool, figures) = self._fleet, self._pairs
        found: dict[tuple[str, str], list[tuple[str, str]]] = {}
        for rule in fleet.own_rules:
            mask, reasons = judged(fleet, rule, site, pool, figures)
            for at, why in zip(np.flatnonzero(mask).tolist(), reasons, strict=True):
                text = f"your own rule {rule.name}: {why}"
                found.setdefault((fleet.site_ids[site[at]], fleet.pool_ids[pool[at]]), []).append((rule.code, text))
        return found

    @cached_property
    def _pairs(self) -> tuple[Ints, Ints, SimpleNamespace]:
        """Site and pool of every pair whose round-trip time is known, by position, and what is known of it."""
        fleet, known = self._fleet, resolve(self._fleet)
        pools = [np.flatnonzero(fleet.hub_of_pool == hub) for hub in range(len(fleet.hub_ids))]
        row = np.repeat(np.arange(len(known)), [len(pools[hub]) for hub in known.hub])
        pool = np.concatenate([np.zeros(0, dtype=np.int64), *(pools[hub] for hub in known.hub)])
        site = known.site[row].astype(np.int64)
        names = ("rtt_ms", "loss_percent", "evidence", "measured_at")
        return site, pool, SimpleNamespace(**{name: getattr(known, name)[row] for name in names})
