"""A site on a pool before it has a host there."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Item:
    """A site on a pool: ``clusters`` of it and their ``weight``, whether they must share a host, its RTT and its host
    today (or "")."""

    site: str
    clusters: int
    together: bool
    rtt_ms: float
    today: str
    weight: float = 0.0
