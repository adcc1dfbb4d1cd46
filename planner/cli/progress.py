"""Progress of long work: on standard error, and only when that is a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from planner.interrupts import display

if TYPE_CHECKING:
    from planner.sizing import Progress


class Stages:
    """Names the stage that is running and keeps how long each took."""

    def __init__(self, *, quiet: bool) -> None:
        # Asked of the stream itself: rich also takes a file for a terminal when the environment forces colour.
        self._shown = not quiet and sys.stderr.isatty()
        self.seconds: dict[str, float] = {}

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
            self.seconds[key] = self.seconds.get(key, 0.0) + time.perf_counter() - began


def in_words(progress: Progress) -> str:
    """Return progress for people: the stage, the best value and its bound."""
    best = "no plan yet" if progress.best is None else f"best {progress.best:,.10g}"
    bound = "" if progress.bound is None else f", not below {progress.bound:,.10g}"
    return f"{progress.stage.replace('_', ' ')}, {best}{bound}, {progress.seconds:.0f} s"
