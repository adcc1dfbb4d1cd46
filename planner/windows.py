"""Weekly maintenance windows: text such as ``Sun 22:00-04:00; Wed 01:00-05:00`` -> days and minutes."""

import re
from dataclasses import dataclass

DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
DAY_MINUTES = 24 * 60
_WINDOW = re.compile(r"([a-z]+)\.?\s+(\d{1,2}):(\d{2})\s*(?:-|–|—|to)\s*(\d{1,2}):(\d{2})", re.IGNORECASE)
_SHORTEST_DAY = 3
_LONGEST_QUOTED = 40


@dataclass(frozen=True, order=True, slots=True)
class Window:
    """A stretch of each week, in local time: ``day`` 0 is Monday, ``start`` minutes after midnight.

    A window that crosses midnight belongs to the day on which it starts.
    """

    day: int
    start: int
    minutes: int

    def __str__(self) -> str:
        end = (self.start + self.minutes) % DAY_MINUTES
        return f"{DAYS[self.day][:3]} {_clock(self.start)}-{_clock(end)}"


def parse_windows(text: str) -> tuple[Window, ...]:
    """Return the windows that ``text`` lists, separated by semicolons.

    Days are English, in full or shortened to three letters or more; an end at or before the start is on the next day.
    Raises ValueError, with what is wrong, for anything else and for a window without length.

    >>> [str(w) for w in parse_windows("sunday 22:00-4:00; Wed 01:00-05:00")]
    ['Sun 22:00-04:00', 'Wed 01:00-05:00']
    """
    windows = tuple(_window(part.strip()) for part in text.split(";") if part.strip())
    if not windows:
        raise ValueError("it names no window")
    return windows


def _window(text: str) -> Window:
    match = _WINDOW.fullmatch(text)
    if match is None:
        short = text if len(text) <= _LONGEST_QUOTED else f"{text[:_LONGEST_QUOTED]}..."
        raise ValueError(f'"{short}" is not a day and two times')
    name = match[1].casefold()
    day = next((i for i, d in enumerate(DAYS) if len(name) >= _SHORTEST_DAY and d.casefold().startswith(name)), None)
    if day is None:
        raise ValueError(f'"{match[1]}" is no English day of the week')
    start, end = _minutes(match[2], match[3]), _minutes(match[4], match[5])
    if start == DAY_MINUTES:
        raise ValueError("24:00 cannot be a start; write 00:00 of the next day")
    if start == end:
        raise ValueError(f'"{text}" starts and ends at the same time')
    return Window(day, start, (end - start) % DAY_MINUTES or DAY_MINUTES)


def _minutes(hours: str, minutes: str) -> int:
    clock = int(hours) * 60 + int(minutes)
    if int(minutes) > 59 or clock > DAY_MINUTES:
        raise ValueError(f"{hours}:{minutes} is no time of day")
    return clock


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
