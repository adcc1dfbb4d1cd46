"""When the rest may be done: the pace so far, drawn again and again."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from planner.counted_words import counted
from planner.fleet import Bools, Ints
from planner.progress import Forecast
from planner.tracking.open_days import OpenDays

_RUNS = 2000
_LEAST_DAYS = 5  # of record, below which a pace is a guess
_LEAST_ACTIVE = 2  # days on which something was done
_LONGEST_DAYS = 3650


@dataclass(frozen=True)
class _Record:
    """Sites done on the days of the record, cut into ``blocks`` (B, days); ``last`` is its last day."""

    blocks: Ints
    last: dt.date


def forecast(
    done_on: Mapping[dt.date, int], left: int, as_of: dt.date, seed: int = 0, calendar: OpenDays | None = None
) -> Forecast:
    """Return the days by which ``left`` sites may be done, if the pace of the record goes on.

    ``done_on`` counts sites by day. The record is every day from the first that is in it up to ``as_of``, or the day
    before where nothing is done on it yet. Days without work count, and where there are two whole weeks or more the
    record is cut into weeks, so that weekends stay weekends. A run draws weeks (or days) from the record with
    replacement until the sites are done (bootstrap: B. Efron, Annals of Statistics 7 (1979) 1-26); the percentiles of
    2,000 runs are early, likely and late.

    With a ``calendar``, no more sites are done on a day to come than may be changed then, those with the fewest open
    days first; and days of the record that windows or freezes closed, and weeks with a freeze, are not drawn. Trends
    and blocked sites are not in it.
    """
    record = {day: count for day, count in done_on.items() if day <= as_of}
    if left <= 0:
        return Forecast(as_of, as_of, as_of, "Nothing is left to do.")
    # A day on which nothing is done yet may still see work.
    last = as_of if as_of in record else as_of - dt.timedelta(days=1)
    days = (last - min(record)).days + 1 if record else 0
    if days < _LEAST_DAYS or len(record) < _LEAST_ACTIVE:
        return _none(
            f"No forecast yet. It needs {_LEAST_ACTIVE} days with finished sites, within at least {_LEAST_DAYS} days; "
            f"so far there are {counted(len(record), 'such day')} in {counted(days, 'day')}."
        )
    kept = _Record(_blocks(record, last, days, calendar), last)
    if not kept.blocks.any():
        return _none("No forecast: no site was finished in the full weeks before today.")
    needed = _runs(kept, np.array([left]) if calendar is None else calendar.left, calendar, np.random.default_rng(seed))
    if np.median(needed) >= _LONGEST_DAYS:
        return _none("No forecast. At this pace and in their windows, the sites left take more than ten years.")
    early, likely, late = (
        last + dt.timedelta(days=int(np.percentile(needed, p, method="inverted_cdf"))) for p in (10, 50, 90)
    )
    return Forecast(early, likely, late, _words(kept, left, likely, calendar))


def _none(words: str) -> Forecast:
    return Forecast(None, None, None, words)


def _words(record: _Record, left: int, likely: dt.date, calendar: OpenDays | None) -> str:
    unit = "weeks" if record.blocks.shape[1] == 7 else "days"
    words = (
        f"The forecast picks from the {len(record.blocks)} past {unit} at random until {left} sites are done. "
        f"It does so {_RUNS:,} times. Early, likely and late are the 10th, 50th and 90th percentile of the end. "
    )
    if calendar is not None:
        ahead = (record.last + dt.timedelta(days=n) for n in range(1, (likely - record.last).days + 1))
        shut = sum(not calendar.of(day).any() for day in ahead)
        words += (
            f"Windows and freezes allow no change at the sites left on {counted(shut, 'day')} until the likely date. "
        )
    return words + "It assumes that the pace stays the same. Blocked sites are not counted."


def _blocks(record: Mapping[dt.date, int], last: dt.date, days: int, calendar: OpenDays | None) -> Ints:
    """Return the sites done on each day of each week, or on each day where the record is short; oldest first."""
    block = 7 if days >= 14 else 1
    dates = [last - dt.timedelta(days=back) for back in range(days)][::-1][days % block :]
    blocks = np.array([record.get(day, 0) for day in dates]).reshape(-1, block)
    if calendar is None:
        return blocks
    shut = calendar.frozen if block == 7 else calendar.closed
    drawn = ~np.array([shut(day) for day in dates], dtype=np.bool_).reshape(-1, block).any(axis=1)
    drawn |= (block == 1) & blocks.any(axis=1)  # somebody worked all the same
    return blocks[drawn] if blocks[drawn].any() else blocks


def _runs(record: _Record, left: Ints, calendar: OpenDays | None, rng: np.random.Generator) -> Ints:
    """Return the days that each run takes, at most ten years; ``left`` (G,) counts sites by clock."""
    block = record.blocks.shape[1]
    needed = np.full(_RUNS, _LONGEST_DAYS)
    rest, open_runs, day = np.tile(left, (_RUNS, 1)), np.arange(_RUNS), 0
    everywhere = np.ones(len(left), dtype=np.bool_)
    while len(open_runs) and day < _LONGEST_DAYS:
        dates = [record.last + dt.timedelta(days=day + n + 1) for n in range(block)]
        opens = [everywhere if calendar is None else calendar.of(date) for date in dates]
        if any(one.any() for one in opens):
            drawn = record.blocks[rng.integers(len(record.blocks), size=len(open_runs))]
            now = rest[open_runs]
            for n, groups in enumerate(opens):
                _work(now, drawn[:, n], groups)
                ends = open_runs[(now.sum(axis=1) == 0)]
                needed[ends] = np.minimum(needed[ends], day + n + 1)
            rest[open_runs] = now
            open_runs = open_runs[now.sum(axis=1) > 0]
        day += block
    return needed


def _work(rest: Ints, done: Ints, groups: Bools) -> None:
    """Take what is done on a day from ``rest`` (runs, G), of the groups that are open, in their order."""
    spare = done.copy()
    for group in np.flatnonzero(groups):
        taken = np.minimum(spare, rest[:, group])
        rest[:, group] -= taken
        spare -= taken
