"""What is known of the way from a site to a hub, looked up one pair at a time."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from planner.fleet import Fleet
from planner.latency import EVIDENCE, estimate_range_ms, resolve
from planner.plan import Evidence


@dataclass(frozen=True, slots=True)
class Pair:
    """Figures of one site and hub; ``loss_percent`` is NaN and ``measured_at`` None where unknown."""

    rtt_ms: float
    loss_percent: float
    pair_cost: float
    evidence: Evidence
    measured_at: dt.datetime | None

    @property
    def range_ms(self) -> tuple[float, float] | None:
        """Between which times a measurement is to be expected, for an estimate."""
        return estimate_range_ms(self.rtt_ms) if self.evidence == "estimated" else None


class Pairs:
    """The known pairs of a fleet by site and hub id. The rows of a site are indexed when it is first asked for."""

    def __init__(self, fleet: Fleet) -> None:
        self._table = resolve(fleet)
        self._hub = {hub: position for position, hub in enumerate(fleet.hub_ids)}
        self._site = {site: position for position, site in enumerate(fleet.site_ids)}
        self._first = np.searchsorted(self._table.site, np.arange(len(fleet.site_ids) + 1)).tolist()
        self._rows: dict[str, dict[int, int]] = {}

    def get(self, site: str, hub: str) -> Pair | None:
        """Return what is known between ``site`` and ``hub``; None where no round-trip time is."""
        row = self._rows_of(site).get(self._hub.get(hub, -1))
        if row is None:
            return None
        return Pair(
            rtt_ms=float(self._table.rtt_ms[row]),
            loss_percent=float(self._table.loss_percent[row]),
            pair_cost=float(self._table.pair_cost[row]),
            evidence=EVIDENCE[self._table.evidence[row]],
            measured_at=self._table.measured_at[row].astype("datetime64[s]").item(),
        )

    def _rows_of(self, site: str) -> dict[int, int]:
        """Return the row of each hub position that ``site`` knows."""
        if site not in self._rows:
            position = self._site.get(site)
            rows = range(0) if position is None else range(self._first[position], self._first[position + 1])
            self._rows[site] = dict(zip(self._table.hub[rows.start : rows.stop].tolist(), rows, strict=True))
        return self._rows[site]
