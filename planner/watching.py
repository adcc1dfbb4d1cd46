"""Progress of a plan in a session: one line that is written over, in a terminal or below the cell of a notebook."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any


def show_progress() -> Callable[[Any], None]:
    """Return a function for ``watch`` of `planner.plan` and `planner.roll_out` that shows how far the search is.

    In a notebook the line stands below the cell, in a terminal on standard error; elsewhere nothing is shown.
    """
    display = _of_notebook()
    if display is not None:
        return lambda progress: display.update({"text/plain": _line(progress)}, raw=True)
    if not sys.stderr.isatty():
        return lambda _progress: None
    return lambda progress: print(f"\r\x1b[K{_line(progress)}", end="", file=sys.stderr, flush=True)


def _line(progress: Any) -> str:
    best = "no plan yet" if progress.best is None else f"best {progress.best:,.10g}"
    bound = "" if progress.bound is None else f", at least {progress.bound:,.10g}"
    return f"{progress.stage.replace('_', ' ')}: {best}{bound}, {progress.seconds:.0f} s"


def _of_notebook() -> Any:
    """Return a place below the cell that runs, None outside notebooks."""
    if "IPython" not in sys.modules:
        return None
    from IPython import get_ipython
    from IPython.display import display

    shell = get_ipython()
    if shell is None or not hasattr(shell, "kernel"):
        return None
    return display({"text/plain": ""}, raw=True, display_id=True)  # type: ignore[no-untyped-call]
