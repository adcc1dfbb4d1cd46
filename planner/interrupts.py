"""Ctrl-C at the command line: at once, in one line and with 130, as long as there is nothing that could be kept.

Imports nothing of the project and nothing heavy, so that it is in force before anything else is loaded. Python's own
answer, an exception wherever the program happens to be, would end in tracebacks of whatever is being imported.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

CODE = 130
WORDS = "Interrupted before there was a result. Files are written whole or not at all."

STILL_WRITING = "What is known is being written. Press Ctrl-C again to end without it."

half_written: set[str] = set()
"""Files to remove on the way out."""

_CLEAR_LINE, _SHOW_CURSOR = "\r\x1b[2K", "\x1b[?25h"
_on_display: list[object] = []
_left_to_parent: list[object] = []
_hearing: list[Any] = []  # the answers of the blocks that hear of Ctrl-C now, one inside the other


def leave_at_once() -> None:
    """Let Ctrl-C end this process from now on; one that was told to ignore it goes on doing so."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _leave)


def too_late() -> None:
    """Ignore Ctrl-C from now on: all that was asked for is done."""
    if signal.getsignal(signal.SIGINT) is _leave:
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def leave_to_parent() -> None:
    """Ignore Ctrl-C in this process from now on, whatever runs in it: it is the parent's to answer."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _left_to_parent.append(None)


@contextmanager
def display() -> Iterator[None]:
    """Tell that a line of progress is shown while the block runs, which hides the cursor of the terminal."""
    _on_display.append(None)
    try:
        yield
    finally:
        _on_display.pop()


@contextmanager
def heard(tell: Callable[[], None]) -> Iterator[None]:
    """Call ``tell`` on Ctrl-C while the block runs, and that of each block around it; a second does what it did before.

    Does nothing outside the main thread, which is the only one that hears of Ctrl-C, and after `leave_to_parent`.
    """
    if _left_to_parent or threading.current_thread() is not threading.main_thread():
        yield
        return
    before: Any = signal.getsignal(signal.SIGINT)

    def first(_signal: int, _frame: Any) -> None:
        signal.signal(signal.SIGINT, before)
        tell()
        if before in _hearing:
            before(_signal, _frame)

    signal.signal(signal.SIGINT, first)
    _hearing.append(first)
    try:
        yield
    finally:
        _hearing.remove(first)
        if signal.getsignal(signal.SIGINT) is first:
            signal.signal(signal.SIGINT, before)


def goes_on_writing() -> None:
    """Tell at a terminal that Ctrl-C did not end the program, and what a second one would do."""
    if _on_display:
        _write(f"{_CLEAR_LINE}{STILL_WRITING}\n")


@contextmanager
def held_back() -> Iterator[None]:
    """Let Ctrl-C wait until the block has run, also for processes that are started in it: those never hear of it.

    Does nothing where the system knows no signal masks.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _leave(_signal: int, _frame: Any) -> None:
    for path in list(half_written):
        with suppress(OSError):
            os.unlink(path)
    steering = _CLEAR_LINE + _SHOW_CURSOR if _on_display else ""
    _write(f"{steering}{WORDS}\n")
    os._exit(CODE)


def _write(words: str) -> None:
    """Write to standard error by the system's own call: the program may be in the middle of printing."""
    with suppress(OSError, ValueError, AttributeError):
        os.write(sys.stderr.fileno(), words.encode())
