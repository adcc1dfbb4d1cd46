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
    """The windows as (minute of the week, length), 0 is Monday 00:00, none for any time; frozen days (first, last)."""

    zone: ZoneInfo
    windows: tuple[tuple[int, int], ...]
    frozen: tuple[tuple[dt.date, dt.date], ...]

    def trouble(self, starts: dt.datetime, ends: dt.datetime) -> str:
        """Return "window" or "freeze" when some minute from ``starts`` to ``ends`` is not open; "" when all are."""
        moment = starts.astimezone(dt.UTC)
        while moment < ends:
            local = moment.astimezone(self.zone)
            if any(first <= local.date() <= last for first, last in self.frozen):
                return "freeze"
            if self.windows and not any(since < length for since, length in self._since(local)):
                return "window"
            moment += dt.timedelta(minutes=1)
        return ""

    def _since(self, local: dt.datetime) -> list[tuple[int, int]]:
        """Return for each window the minutes since it last opened, and its length."""
        of_week = local.weekday() * 1440 + local.hour * 60 + local.minute
        return [((of_week - start) % _WEEK, length) for start, length in self.windows]

    def nights(self, moment: dt.datetime) -> set[dt.date]:
        """Return the days at whose noon the night of ``moment`` began: that in which its window opened."""
        local = moment.astimezone(self.zone).replace(tzinfo=None)
        opened = [local - dt.timedelta(minutes=since) for since, length in self._since(local) if since < length]
        return {(start - dt.timedelta(hours=12)).date() for start in opened or [local]}


def wall_clock(timezone: str, window: str, frozen: Sequence[tuple[dt.date, dt.date]]) -> WallClock:
    """Return the clock of a site or hub; blank texts mean UTC and any time."""
    windows: list[tuple[int, int]] = []
    for part in filter(str.strip, window.split(";")):
        match = _PART.fullmatch(part)
        if match is None:
            raise ValueError(f"window {part!r} is not understood")
        day = _DAYS.index(match[1].casefold())
        start, end = int(match[2]) * 60 + int(match[3]), int(match[4]) * 60 + int(match[5])
        length = end - start if end > start else end - start + 1440
        windows.append((day * 1440 + start, length))
    return WallClock(ZoneInfo(timezone or "UTC"), tuple(windows), tuple(frozen))
