"""The days on which the sites of a rollout may be changed: their windows, less freezes."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from planner.fleet import Bools, Fleet, Ints
from planner.rollout.nights import Clock, Nights, clocks_of, minute

_DAY = dt.timedelta(days=1)
_AHEAD = 56  # days by which clocks are ordered


@dataclass(frozen=True)
class OpenDays:
    """``left`` (G,) counts sites by clock, those with the fewest open days first; ``every`` holds all of the rollout.

    A day is open where a part of it is, in the site's own time.
    """

    left: Ints
    clocks: tuple[Nights, ...]
    every: tuple[Nights, ...]

    def of(self, day: dt.date) -> Bools:
        """Return for each clock of the sites left, shape (G,), whether they may be changed on ``day``."""
        return np.array([_open(clock, day) for clock in self.clocks], dtype=np.bool_)

    def closed(self, day: dt.date) -> bool:
        """Say whether no site of the whole rollout, done or left, may be changed on ``day``."""
        return not any(_open(clock, day) for clock in self.every)

    def frozen(self, day: dt.date) -> bool:
        """Say whether a freeze covers ``day`` at all sites of the rollout."""
        return all(any(first <= day <= last for first, last in clock.clock.frozen) for clock in self.every)


def open_days(fleet: Fleet, left: Iterable[str], every: Iterable[str], first: dt.date, today: dt.date) -> OpenDays:
    """Return the open days from ``first`` on of the sites ``left``, by id, among ``every`` site of the rollout.

    A site that the fleet does not know may be changed at any time.
    """
    clocks = dict(zip(fleet.site_ids, clocks_of(fleet, fleet.sites), strict=True))
    begin = first - _DAY  # whose night lasts until noon of the first day
    nights = {clock: Nights(clock, begin) for clock in {Clock(), *clocks.values()}}
    counts = Counter(clocks.get(site, Clock()) for site in left)
    ahead = {c: sum(_open(nights[c], today + n * _DAY) for n in range(_AHEAD)) for c in counts}
    ordered = sorted(counts, key=lambda clock: (ahead[clock], repr(clock)))
    return OpenDays(
        np.array([counts[clock] for clock in ordered], dtype=np.int64),
        tuple(nights[clock] for clock in ordered),
        tuple(nights[clock] for clock in dict.fromkeys(clocks.get(site, Clock()) for site in every)),
    )


def _open(nights: Nights, day: dt.date) -> bool:
    zone = nights.zone
    begins, ends = (minute(dt.datetime.combine(at, dt.time(), zone)) for at in (day, day + _DAY))
    openings = (one for night in (day.toordinal() - 1, day.toordinal()) for one in nights.of(night))
    return any(one.start < ends and one.end > begins for one in openings)
