"""When something may be changed: weekly windows in local time, less freezes, as stretches of minutes.

A night runs from noon to noon, and a window belongs to the night in which it starts. Daylight saving: a start or an end
that falls into the hour that does not exist is taken at the change of the clock; of a time that comes twice, a start is
taken at the second and an end at the first, so that nothing happens outside a window by either reading of the clock.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from zoneinfo import ZoneInfo

import pandas as pd

from planner.fleet import Fleet
from planner.windows import DAY_MINUTES, parse_windows

_MINUTE = dt.timedelta(minutes=1)
_NOON = 12 * 60


@dataclass(frozen=True, slots=True)
class Clock:
    """When a site or hub may be changed: IANA zone, text of its windows ("": any time), frozen days (first, last)."""

    timezone: str = "UTC"
    window: str = ""
    frozen: tuple[tuple[dt.date, dt.date], ...] = ()


def clocks_of(fleet: Fleet, table: pd.DataFrame) -> list[Clock]:
    """Return the clock of each row of Sites or Hubs; what is blank there is the policy's."""
    freezes, policy = fleet.freezes, fleet.policy
    frozen = [
        (frozenset(map(folded, regions)), (first.date(), last.date()))
        for first, last, regions in zip(freezes["first"], freezes["last"], freezes["regions"], strict=True)
    ]
    columns = (table[name].astype(str) for name in ("timezone", "window", "region"))
    made: dict[tuple[str, str, str], Clock] = {}
    for key in (rows := list(zip(*columns, strict=True))):
        if key not in made:
            zone, window, region = key
            days = tuple(days for regions, days in frozen if not regions or folded(region) in regions)
            made[key] = Clock(zone or policy.timezone or "UTC", window or policy.window, days)
    return [made[key] for key in rows]


def folded(region: str) -> str:
    """Return the name of a region as it is compared."""
    return region.strip().casefold()


@dataclass(frozen=True, slots=True)
class Opening:
    """A stretch of one night: ``night`` is its day's ordinal, ``start`` and ``end`` are minutes of `minute`."""

    night: int
    start: int
    end: int


def minute(moment: dt.datetime) -> int:
    """Return whole minutes since 1970-01-01 00:00 UTC; a fraction is dropped."""
    return int(moment.timestamp() // 60)


def moment(minutes: int, timezone: str) -> dt.datetime:
    """Return the moment in local time."""
    return dt.datetime.fromtimestamp(minutes * 60, tz=ZoneInfo(timezone))


@dataclass
class Nights:
    """The openings of a clock from the night of ``first`` on, by night."""

    clock: Clock
    first: dt.date
    _found: dict[int, tuple[Opening, ...]] = field(default_factory=dict)

    def of(self, night: int) -> tuple[Opening, ...]:
        """Return the openings of one night in order, none before the first night."""
        if night not in self._found:
            self._found[night] = tuple(self._openings(night)) if night >= self.first.toordinal() else ()
        return self._found[night]

    @cached_property
    def zone(self) -> ZoneInfo:
        """The time zone."""
        return ZoneInfo(self.clock.timezone)

    def _openings(self, night: int) -> Iterator[Opening]:
        windows = self._windows[night % 7]
        noon = dt.datetime.combine(dt.date.fromordinal(night), dt.time(12)) if windows else None
        for start, minutes in windows:
            assert noon is not None
            opens = noon + start * _MINUTE
            opened = minute(_real(opens, self.zone, late=True))
            closed = minute(_real(opens + minutes * _MINUTE, self.zone, late=False))
            for a, b in _without(opened, closed, self._frozen):
                yield Opening(night, a, b)

    @cached_property
    def _windows(self) -> list[list[tuple[int, int]]]:
        """The windows of the nights whose ordinal leaves 0, 1, ... by 7: (minutes after noon, length), in order."""
        if not self.clock.window:
            return [[(0, DAY_MINUTES)]] * 7
        found: list[list[tuple[int, int]]] = [[] for _ in range(7)]
        for window in parse_windows(self.clock.window):
            # Ordinal 1 is a Monday; what starts before noon belongs to the night before.
            day, start = (
                (window.day, window.start) if window.start >= _NOON else (window.day - 1, window.start + DAY_MINUTES)
            )
            found[(day + 1) % 7].append((start - _NOON, window.minutes))
        return [sorted(windows) for windows in found]

    @cached_property
    def _frozen(self) -> list[tuple[int, int]]:
        def midnight(day: dt.date) -> int:
            return minute(_real(dt.datetime.combine(day, dt.time()), self.zone, late=False))

        return [(midnight(first), midnight(last + dt.timedelta(days=1))) for first, last in self.clock.frozen]


def _real(local: dt.datetime, zone: ZoneInfo, *, late: bool) -> dt.datetime:
    """Return the moment that a clock on the wall means by ``local``; ``late`` chooses of a time that comes twice."""
    early, second = (local.replace(tzinfo=zone, fold=fold).astimezone(dt.UTC) for fold in (0, 1))
    if early > second:  # the time does not exist: between them the clock jumps
        low, high = second, early
        while high - low > _MINUTE:
            middle = low + (high - low) // 2 // _MINUTE * _MINUTE
            before = middle.astimezone(zone).utcoffset() == low.astimezone(zone).utcoffset()
            low, high = (middle, high) if before else (low, middle)
        return high
    return second if late else early


def _without(start: int, end: int, frozen: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return what the frozen stretches leave of start..end."""
    left = [(start, end)] if start < end else []
    for first, last in frozen:
        left = [(a, b) for s, e in left for a, b in ((s, min(e, first)), (max(s, last), e)) if a < b]
    return left
