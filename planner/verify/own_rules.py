"""Rules and aims that the caller gives, asked once more with pairs read here: nobody else knows what they want."""

from __future__ import annotations

from collections.abc import Iterator, Set
from functools import cached_property

import numpy as np
import pandas as pd

from planner.fleet import Fleet
from planner.latency import resolve
from planner.latency.round_trips import EVIDENCE

_AT_ONCE = 50_000  # pairs of site and hub; with all columns of both sheets more would take much memory


class OwnRules:
    """What the caller's own rules break in a fleet, and what own aims come to, where the round-trip time is known."""

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
        found, total = 0, 0.0
        for pairs in self._frames({site for site, _ in used}):
            taken = [pair in used for pair in zip(pairs["site"], pairs["pool"], strict=True)]
            found += sum(taken)
            total += float(aim.costs(pairs[taken].reset_index(drop=True)).sum())
        return total if found == len(used) else float("nan")

    @cached_property
    def _broken(self) -> dict[tuple[str, str], list[tuple[str, str]]]:
        found: dict[tuple[str, str], list[tuple[str, str]]] = {}
        for pairs in self._frames(self._fleet.site_ids):
            names = list(zip(pairs["site"], pairs["pool"], strict=True))
            for rule in self._fleet.own_rules:
                mask, reasons = rule.broken(pairs)
                for at in np.flatnonzero(mask).tolist():
                    text = f"your own rule {rule.name}: {reasons[at]}"
                    found.setdefault(names[at], []).append((rule.code, text))
        return found

    def _frames(self, of: Set[str] | tuple[str, ...]) -> Iterator[pd.DataFrame]:
        """Yield what rules and aims see of the known pairs of the sites ``of``, in parts: the sheets, joined by id."""
        fleet, policy = self._fleet, self._fleet.policy
        default_ms = np.nan if policy.latency_budget_ms is None else policy.latency_budget_ms
        pools, sites = fleet.pools.add_prefix("pool."), fleet.sites.add_prefix("site.")
        pools.insert(0, "pool", pools["pool.pool"])
        sites["budget_ms"] = sites["site.latency_budget_ms"].fillna(default_ms)
        sites["clusters"] = sites["site.clusters"].fillna(1).astype(np.int64)
        known = self._known
        known = known[known["site"].isin(list(of))]
        for first in range(0, len(known), _AT_ONCE):
            part = known.iloc[first : first + _AT_ONCE]
            yield part.merge(pools, left_on="hub", right_on="pool.hub").merge(
                sites, left_on="site", right_on="site.site"
            )

    @cached_property
    def _known(self) -> pd.DataFrame:
        """The known pairs of site and hub, with what is known of each."""
        table, fleet = resolve(self._fleet), self._fleet
        return pd.DataFrame(
            {
                "site": np.array([*fleet.site_ids, ""], dtype=object)[table.site],
                "hub": np.array([*fleet.hub_ids, ""], dtype=object)[table.hub],
                "rtt_ms": table.rtt_ms,
                "loss_percent": table.loss_percent,
                "evidence": np.array(EVIDENCE, dtype=object)[table.evidence],
                "measured_at": table.measured_at,
            }
        )
