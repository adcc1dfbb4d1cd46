"""Progress of long work: on standard error, and only when that is a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext

from planner.cli.streams import console


class Stages:
    """Names the stage that is running and keeps how long each took."""

    def __init__(self, *, quiet: bool) -> None:
        # Asked of the stream itself: rich also takes a file for a terminal when the environment forces colour.
        self._shown = not quiet and sys.stderr.isatty()
        self._console = console(err=True)
        self.seconds: dict[str, float] = {}

    @contextmanager
    def stage(self, key: str, words: str) -> Iterator[None]:
        """Show ``words`` while the block runs and add its time to ``seconds[key]``."""
        began = time.perf_counter()
        try:
            with self._console.status(words) if self._shown else nullcontext():
                yield
        finally:
            self.seconds[key] = self.seconds.get(key, 0.0) + time.perf_counter() - began
