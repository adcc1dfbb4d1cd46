"""When the rest may be done: the pace so far, drawn again and again."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np

from planner.counted_words import counted
from planner.fleet import Ints
from planner.progress import Forecast

_RUNS = 2000
_LEAST_DAYS = 5  # of record, below which a pace is a guess
_LEAST_ACTIVE = 2  # days on which something was done
_LONGEST_DAYS = 3650


def forecast(done_on: Mapping[dt.date, int], left: int, as_of: dt.date, seed: int = 0) -> Forecast:
    """Return the days by which ``left`` sites may be done, if the pace of the record goes on.

    ``done_on`` counts sites by day. The record is every day from the first that is in it up to ``as_of``, or the day
    before where nothing is done on it yet. Days without work count, and where there are two whole weeks or more the
    record is cut into weeks, so that weekends stay weekends. A run draws weeks (or days) from the record with
    replacement until the sites are done (bootstrap: B. Efron, Annals of Statistics 7 (1979) 1-26); the percentiles of
    2,000 runs are early, likely and late. Trends, freezes to come and blocked sites are not in it.
    """
    record = {day: count for day, count in done_on.items() if day <= as_of}
    if left <= 0:
        return Forecast(as_of, as_of, as_of, "Nothing is left to do.")
    # A day on which nothing is done yet may still see work.
    last = as_of if as_of in record else as_of - dt.timedelta(days=1)
    days = (last - min(record)).days + 1 if record else 0
    if days < _LEAST_DAYS or len(record) < _LEAST_ACTIVE:
        words = (
            f"No forecast yet. It needs {_LEAST_ACTIVE} days with finished sites, within at least {_LEAST_DAYS} days; "
            f"so far there are {counted(len(record), 'such day')} in {counted(days, 'day')}."
        )
        return Forecast(None, None, None, words)
    block = 7 if days >= 14 else 1
    counts = np.array([record.get(last - dt.timedelta(days=back), 0) for back in range(days)])[::-1]
    blocks = counts[days % block :].reshape(-1, block)
    if not blocks.any():
        return Forecast(None, None, None, "No forecast: nothing was done in the whole weeks before today.")
    needed = _runs(blocks, left, np.random.default_rng(seed))
    early, likely, late = (
        last + dt.timedelta(days=int(np.percentile(needed, p, method="inverted_cdf"))) for p in (10, 50, 90)
    )
    unit = "weeks" if block == 7 else "days"
    words = (
        f"Estimated from {len(blocks)} past {unit}, drawn at random {_RUNS:,} times until {left} sites are done. "
        "The dates are the 10th, 50th and 90th percentile. The pace must stay the same; blocked sites are not counted."
    )
    return Forecast(early, likely, late, words)


def _runs(blocks: Ints, left: int, rng: np.random.Generator) -> Ints:
    """Return the days that each run takes, at most ten years."""
    block = blocks.shape[1]
    needed = np.full(_RUNS, _LONGEST_DAYS)
    rest, open_runs, day = np.full(_RUNS, left), np.arange(_RUNS), 0
    while len(open_runs) and day < _LONGEST_DAYS:
        drawn = blocks[rng.integers(len(blocks), size=len(open_runs))].cumsum(axis=1)
        reached = drawn >= rest[open_runs, None]
        ends = reached.any(axis=1)
        needed[open_runs[ends]] = day + 1 + reached[ends].argmax(axis=1)
        rest[open_runs] -= drawn[:, -1]
        open_runs = open_runs[~ends]
        day += block
    return np.asarray(np.minimum(needed, _LONGEST_DAYS))
