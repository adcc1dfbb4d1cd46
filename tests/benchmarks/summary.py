"""What the rows say when put side by side. Nothing here judges: no time is ever asserted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from tests.benchmarks.engines import ENGINES
from tests.benchmarks.runs import Row
from tests.benchmarks.sets import SETS

OURS = ("castingvote", "castingvote-count")
PRINTED = 0.011  # published values are cut or rounded to two decimals


@dataclass(frozen=True, slots=True)
class Ratio:
    """Seconds of ``engine`` over those of ``against``; ``at_least`` where the engine was stopped without a proof."""

    set: str
    instance: str
    engine: str
    against: str
    times: float
    at_least: bool


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
    """All instances of a public set: how many proven, how many at the published optimum, and the seconds together."""

    set: str
    engine: str
    instances: int
    proven: int
    agree: int
    comparable: int
    seconds: float
    cpu_seconds: float


def ratios(rows: Sequence[Row]) -> list[Ratio]:
    """Return each rival against each proven time of ours on the same generated instance."""
    times = {(row.set, row.instance, row.engine): row for row in rows if row.seconds is not None}
    found = []
    for (of_set, instance, engine), rival in times.items():
        for ours in OURS:
            mine = times.get((of_set, instance, ours))
            if engine in OURS or mine is None or not mine.proven or not SETS[of_set].generated:
                continue
            times_as_long = (rival.seconds or 0.0) / max(mine.seconds or 0.0, 1e-6)
            found.append(Ratio(of_set, instance, engine, ours, times_as_long, at_least=not rival.proven))
    return found


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
                sum(row.seconds or 0.0 for row in members),
                sum(row.cpu_seconds or 0.0 for row in members),
            )
        )
    return found


def agrees(row: Row) -> bool:
    """Say whether the value found is the published one."""
    return row.value is not None and row.published is not None and abs(row.value - row.published) <= PRINTED
