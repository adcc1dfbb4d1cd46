"""What the rows say when put side by side. Nothing here judges: no time is ever asserted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from tests.benchmarks.engines import ENGINES
from tests.benchmarks.runs import Row
from tests.benchmarks.sets import SETS

PRINTED = 0.011  # published values are cut or rounded to two decimals


@dataclass(frozen=True, slots=True)
class Growth:
    """How many times the seconds the larger of two fleets of one set with the same hubs takes."""

    set: str
    engine: str
    hubs: int
    sites: tuple[int, int]
    times: float


@dataclass(frozen=True, slots=True)
class Total:
    """All instances of a public set: how many proven, how many at the published optimum, and the seconds together.

    ``largest_gap`` of those not proven, as a share of the value; None when there is none.
    """

    set: str
    engine: str
    instances: int
    proven: int
    agree: int
    comparable: int
    largest_gap: float | None
    seconds: float
    cpu_seconds: float


def growths(rows: Sequence[Row]) -> list[Growth]:
    """Return neighbouring sizes of each generated set, engine and number of hubs, where both are proven."""
    timed = [row for row in rows if row.proven and row.seconds is not None and SETS[row.set].generated]
    timed.sort(key=lambda row: (row.set, row.engine, row.hubs, row.sites))
    found = []
    for (of_set, engine, hubs), group in groupby(timed, key=lambda row: (row.set, row.engine, row.hubs)):
        for small, large in pairwise(group):
            times = (large.seconds or 0.0) / max(small.seconds or 0.0, 1e-6)
            found.append(Growth(of_set, engine, hubs, (small.sites, large.sites), times))
    return found


def totals(rows: Sequence[Row]) -> list[Total]:
    """Return a total for each engine and public set."""
    public = [row for row in rows if not SETS[row.set].generated]
    names = list(ENGINES)
    public.sort(key=lambda row: (row.set, names.index(row.engine)))
    found = []
    for (of_set, engine), group in groupby(public, key=lambda row: (row.set, row.engine)):
        members = list(group)
        exact = [row for row in members if row.exact]
        found.append(
            Total(
                of_set,
                engine,
                len(members),
                sum(row.proven for row in members),
                sum(agrees(row) for row in exact),
                len(exact),
                max((gap for row in members if (gap := _gap(row)) is not None), default=None),
                sum(row.seconds or 0.0 for row in members),
                sum(row.cpu_seconds or 0.0 for row in members),
            )
        )
    return found


def _gap(row: Row) -> float | None:
    if row.proven or not row.value or row.bound is None:
        return None
    return (row.value - row.bound) / row.value


def agrees(row: Row) -> bool:
    """Say whether the value found is the published one."""
    return row.value is not None and row.published is not None and abs(row.value - row.published) <= PRINTED
