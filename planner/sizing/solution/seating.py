"""Which host carries which site."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Seat:
    """A site of the problem (or a part of one that may be split) on a host: its eligible pair and its pool."""

    site: int
    pair: int
    pool: int
    host: str
    clusters: int


@dataclass(frozen=True)
class Seating:
    """Who sits where, and the ``names`` of the hosts that run in each pool, also of those that carry nothing."""

    seats: list[Seat]
    names: dict[int, list[str]]
