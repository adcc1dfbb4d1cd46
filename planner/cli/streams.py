"""Standard output and error as every command uses them, at a terminal, in a pipe and in a file alike.

Loads nothing heavy, since help and completion need it too; what rich prints is in `planner.cli.console`.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import click


class _Terminal:
    """What was asked for about all that is printed."""

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """Take back what another call asked for."""
        self.verbose = False
        self.notes: list[str] = []
        self.plain = False

    def be_verbose(self) -> None:
        """Tell more, on standard error."""
        self.verbose = True
        for note in self.notes:
            say(note, err=True)

    def be_plain(self) -> None:
        """Print without colours."""
        self.plain = True


TERMINAL = _Terminal()


def prepare_streams() -> None:
    """Make sure that printing cannot fail on a character that the encoding lacks, or on a stream that was closed."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115 (stays open as long as the program runs)
        elif isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def say(words: str, *, err: bool = False) -> None:
    """Print one line, unstyled and never wrapped; raises as `give_up`."""
    try:
        click.echo(words, err=err)
    except OSError as error:
        give_up(error, err=err)


def give_up(error: OSError, *, err: bool) -> None:
    """Stop using a stream that cannot be written.

    Where its reader has gone, or it is standard error, nothing is lost that was asked for; else, as where it goes into
    a full disk, ClickException is raised.
    """
    # What is still in the buffer vanishes, so that closing it at the end of the program does not complain.
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, (sys.stderr if err else sys.stdout).fileno())
    os.close(nowhere)
    if not (err or isinstance(error, BrokenPipeError)):
        raise click.ClickException(f"Standard output cannot be written: {error.strerror}.") from error


def is_stdout(path: Path | None) -> bool:
    """Say whether an option names standard output instead of a file."""
    return path is not None and str(path) == "-"


def hand_over(text: Callable[[], str], path: Path | None) -> None:
    """Write ``text()`` to ``path``, or print it where that is -; without a path it is not even made.

    It is printed when all files of the command are in their places.
    """
    if path is None:
        return
    from planner.outputs.atomic import afterwards, write_text

    whole = text().rstrip("\n")
    if is_stdout(path):
        afterwards(lambda: say(whole))
    else:
        write_text(path, f"{whole}\n")


def hand_over_pieces(pieces: Iterable[str], path: Path) -> None:
    """Write text that comes in pieces to ``path``, or print it where that is -, as `hand_over` does."""
    if is_stdout(path):
        hand_over(lambda: "".join(pieces), path)
        return
    from planner.outputs.atomic import write_pieces

    write_pieces(path, pieces)


def files_among(*paths: Path | None) -> list[Path]:
    """Return the options that name a file."""
    return [path for path in paths if path is not None and not is_stdout(path)]


def printable(words: str) -> str:
    r"""Return ``words`` with control characters escaped: text from a file must not steer the terminal.

    >>> printable("site \x1b[31m0042")
    'site \\x1b[31m0042'
    """
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in words)
