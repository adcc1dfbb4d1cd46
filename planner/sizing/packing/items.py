"""A site on a pool before it has a host there."""

from __future__ import annotations

from collections.abc import Sequence
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

    @property
    def large(self) -> bool:
        """Whether several clusters of it must share a host."""
        return self.together and self.clusters > 1


def nearest_first(items: Sequence[Item]) -> list[int]:
    """Return the positions of ``items`` by round-trip time, then by site."""
    place = [(item.rtt_ms, item.site) for item in items]
    return sorted(range(len(items)), key=place.__getitem__)
