"""Standard output kept clean of what libraries print below Python."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def silenced() -> Iterator[None]:
    """Silence descriptor 1 while the block runs: HiGHS prints a banner when a solver is made."""
    sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # no descriptor 1, so nothing to keep clean
        yield
        return
    try:
        with open(os.devnull, "w") as nowhere:
            os.dup2(nowhere.fileno(), 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
