"""Progress of long work: on standard error, and only when that is a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from planner.cli.streams import TERMINAL, say
from planner.interrupts import display

if TYPE_CHECKING:
    from planner.sizing import Progress


_LOADING_S = 2.0  # of a process that did nothing before, at most
_WRITING_S, _WRITING_BY_READING = 0.5, 1.2  # measured at 1,000, 5,000 and 20,000 sites


_LATER = "moves and round trips"  # as sizing calls them


class Stages:
    """Names the stage that is running and keeps how long each took."""

    def __init__(self, *, quiet: bool) -> None:
        # Asked of the stream itself: rich also takes a file for a terminal when the environment forces colour.
        self._shown = not quiet and sys.stderr.isatty()
        self.seconds: dict[str, float] = {}
        self._began = time.perf_counter() - min(time.process_time(), _LOADING_S)  # loading is over by now

    def left(self, limit: float | None) -> float | None:
        """Return the seconds of a command's time ``limit`` that are left for its next stage; None where there is none.

        What writing is likely to take, which grows as reading does, is kept back.
        """
        if limit is None:
            return None
        gone = time.perf_counter() - self._began
        return max(0.0, limit - gone - _WRITING_S - _WRITING_BY_READING * self.seconds.get("read", 0.0))

    @contextmanager
    def stage(self, key: str, words: str) -> Iterator[Callable[[str], None]]:
        """Show ``words`` while the block runs, or what it gives the callable; add its time to ``seconds[key]``."""
        began = time.perf_counter()
        try:
            if self._shown:
                from planner.cli.console import console

                with display(), console(err=True).status(words) as status:
                    yield status.update
            else:
                yield lambda _words: None
        finally:
            took = time.perf_counter() - began
            self.seconds[key] = self.seconds.get(key, 0.0) + took
            if TERMINAL.verbose:
                say(f"{took:8.2f} s  {words}", err=True)


def in_words(progress: Progress) -> str:
    """Return progress for people: what is settled, what is being sharpened, the best value and its bound."""
    if progress.stage == _LATER and progress.best is not None and progress.bound is not None:
        settled = "final" if progress.best <= progress.bound else f"at least {progress.bound:,.10g}"
        return f"{progress.best:,.10g} ({settled}), now reducing moves and round-trip times, {progress.seconds:.0f} s"
    best = "no plan yet" if progress.best is None else f"best {progress.best:,.10g}"
    bound = "" if progress.bound is None else f", at least {progress.bound:,.10g}"
    return f"{progress.stage.replace('_', ' ')}, {best}{bound}, {progress.seconds:.0f} s"
