"""Which host carries which site."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cached_property


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

    @cached_property
    def pool_of(self) -> dict[str, int]:
        """The pool of each host that runs."""
        return {name: p for p, mine in self.names.items() for name in mine}

    @cached_property
    def loads(self) -> Counter[str]:
        """The clusters on each host that carries some."""
        loads: Counter[str] = Counter()
        for seat in self.seats:
            loads[seat.host] += seat.clusters
        return loads
