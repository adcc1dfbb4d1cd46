"""When something may be changed: weekly windows in local time, less freezes, as stretches of minutes.

A night runs from noon to noon, and a window belongs to the night in which it starts. Daylight saving: a start or an end
that falls into the hour that does not exist is taken at the change of the clock; of a time that comes twice, a start is
taken at the second and an end at the first, so that nothing happens outside a window by either reading of the clock.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from planner.windows import Window, parse_windows

_MINUTE = dt.timedelta(minutes=1)
_NOON = 12 * 60


@dataclass(frozen=True, slots=True)
class Clock:
    """When a site or hub may be changed: IANA zone, text of its windows ("": any time), frozen days (first, last)."""

    timezone: str = "UTC"
    window: str = ""
    frozen: tuple[tuple[dt.date, dt.date], ...] = ()


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
    _windows: tuple[Window, ...] | None = None

    def of(self, night: int) -> tuple[Opening, ...]:
        """Return the openings of one night in order, none before the first night."""
        if night not in self._found:
            self._found[night] = tuple(self._openings(night)) if night >= self.first.toordinal() else ()
        return self._found[night]

    def _openings(self, night: int) -> Iterator[Opening]:
        zone = ZoneInfo(self.clock.timezone)
        day = dt.date.fromordinal(night)
        for start, end in sorted(self._local(day)):
            opened, closed = minute(_real(start, zone, late=True)), minute(_real(end, zone, late=False))
            for a, b in _without(opened, closed, self._frozen(zone)):
                yield Opening(night, a, b)

    def _local(self, day: dt.date) -> Iterator[tuple[dt.datetime, dt.datetime]]:
        if self._windows is None:
            self._windows = parse_windows(self.clock.window) if self.clock.window else ()
        if not self.clock.window:
            noon = dt.datetime.combine(day, dt.time(12))
            yield noon, noon + dt.timedelta(days=1)
        for window in self._windows:
            date = day if window.start >= _NOON else day + dt.timedelta(days=1)
            if date.weekday() == window.day:
                start = dt.datetime.combine(date, dt.time()) + window.start * _MINUTE
                yield start, start + window.minutes * _MINUTE

    def _frozen(self, zone: ZoneInfo) -> list[tuple[int, int]]:
        def midnight(day: dt.date) -> int:
            return minute(_real(dt.datetime.combine(day, dt.time()), zone, late=False))

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
