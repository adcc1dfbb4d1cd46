"""Text for people, printed by rich."""

from __future__ import annotations

import sys
from typing import Any

from rich.console import Console

from planner.cli.streams import TERMINAL, give_up

_NEVER_WRAPS = 100_000  # columns


class _Console(Console):
    """A console whose reader may leave: ``castingvote verify ... | head -1`` keeps the exit code of verify."""

    def on_broken_pipe(self) -> None:
        """Go on without printing."""
        self.quiet = True
        give_up(BrokenPipeError(), err=self.stderr)

    def print(self, *objects: Any, **options: Any) -> None:
        """Print; raises as `streams.give_up`."""
        try:
            super().print(*objects, **options)
        except OSError as error:
            give_up(error, err=self.stderr)


def console(*, err: bool = False) -> Console:
    """Return a console for text that is printed as it is; it wraps lines at a terminal only, so that grep works."""
    width = None if (sys.stderr if err else sys.stdout).isatty() else _NEVER_WRAPS
    style: dict[str, Any] = {"highlight": False, "emoji": False, "markup": False}
    if TERMINAL.plain:
        style["no_color"] = True  # else the variable NO_COLOR decides
    return _Console(stderr=err, width=width, soft_wrap=width is not None, **style)
