"""Windows and freezes on the clock on the wall, read anew: is this minute one at which a site may be changed?"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_PART = re.compile(r"\s*(\w{3})\w*\.?\s+(\d+):(\d\d)\s*(?:-|–|—|to)\s*(\d+):(\d\d)\s*", re.IGNORECASE)
_WEEK = 7 * 24 * 60


@dataclass(frozen=True)
class WallClock:
    """The minutes of the week (0: Monday 00:00) that are open, None for all, and the frozen days (first, last)."""

    zone: ZoneInfo
    minutes: frozenset[int] | None
    frozen: tuple[tuple[dt.date, dt.date], ...]

    def trouble(self, starts: dt.datetime, ends: dt.datetime) -> str:
        """Return "window" or "freeze" when some minute from ``starts`` to ``ends`` is not open; "" when all are."""
        moment = starts.astimezone(dt.UTC)
        while moment < ends:
            local = moment.astimezone(self.zone)
            if any(first <= local.date() <= last for first, last in self.frozen):
                return "freeze"
            of_week = local.weekday() * 1440 + local.hour * 60 + local.minute
            if self.minutes is not None and of_week not in self.minutes:
                return "window"
            moment += dt.timedelta(minutes=1)
        return ""

    def night(self, moment: dt.datetime) -> dt.date:
        """Return the day at whose noon the night of ``moment`` began, by the clock on the wall."""
        return (moment.astimezone(self.zone).replace(tzinfo=None) - dt.timedelta(hours=12)).date()


def wall_clock(timezone: str, window: str, frozen: Sequence[tuple[dt.date, dt.date]]) -> WallClock:
    """Return the clock of a site or hub; blank texts mean UTC and any time."""
    open_minutes: set[int] = set()
    for part in filter(str.strip, window.split(";")):
        match = _PART.fullmatch(part)
        if match is None:
            raise ValueError(f"window {part!r} is not understood")
        day = _DAYS.index(match[1].casefold())
        start, end = int(match[2]) * 60 + int(match[3]), int(match[4]) * 60 + int(match[5])
        length = end - start if end > start else end - start + 1440
        open_minutes |= {(day * 1440 + start + minute) % _WEEK for minute in range(length)}
    return WallClock(ZoneInfo(timezone or "UTC"), frozenset(open_minutes) if window.strip() else None, tuple(frozen))
