"""Progress of long work: on standard error, and only when that is a terminal."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console


class Stages:
    """Names the stage that is running and keeps how long each took."""

    def __init__(self, *, quiet: bool) -> None:
        self.console = Console(stderr=True, quiet=quiet, highlight=False)
        self.seconds: dict[str, float] = {}

    @contextmanager
    def stage(self, key: str, words: str) -> Iterator[None]:
        """Show ``words`` while the block runs and add its time to ``seconds[key]``."""
        began = time.perf_counter()
        try:
            if self.console.is_terminal and not self.console.quiet:
                with self.console.status(words):
                    yield
            else:
                yield
        finally:
            self.seconds[key] = self.seconds.get(key, 0.0) + time.perf_counter() - began
