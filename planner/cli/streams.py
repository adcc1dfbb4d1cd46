"""Standard output and error as every command uses them, at a terminal, in a pipe and in a file alike.

Loads nothing heavy, since help and completion need it too; what rich prints is in `planner.cli.console`.
"""

from __future__ import annotations

import dataclasses
import io
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click


def prepare_streams() -> None:
    """Make sure that printing cannot fail on a character that the encoding lacks, or on a stream that was closed."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115 (stays open as long as the program runs)
        elif isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def say(words: str, *, err: bool = False) -> None:
    """Print one line, unstyled and never wrapped; raises ClickException where the stream cannot take it."""
    try:
        click.echo(words, err=err)
    except BrokenPipeError:
        stdout_to_nowhere()
    except OSError as error:
        raise cannot_print(error) from error


def cannot_print(error: OSError) -> click.ClickException:
    """Return the error of a stream that takes nothing more, such as one into a full disk."""
    stdout_to_nowhere()
    return click.ClickException(f"Standard output cannot be written: {error.strerror}.")


def say_json(found: Any) -> None:
    """Print a dataclass as JSON, keyed as its fields."""
    say(json.dumps(dataclasses.asdict(found), indent=2, ensure_ascii=False, allow_nan=False))


def is_stdout(path: Path | None) -> bool:
    """Say whether an option names standard output instead of a file."""
    return path is not None and str(path) == "-"


def hand_over(text: Callable[[], str], path: Path | None) -> None:
    """Write ``text()`` to ``path``, or print it where that is -; without a path it is not even made."""
    if is_stdout(path):
        say(text().rstrip("\n"))
    elif path is not None:
        from planner.outputs.atomic import write_text

        write_text(path, text().rstrip("\n") + "\n")


def files_among(*paths: Path | None) -> list[Path]:
    """Return the options that name a file."""
    return [path for path in paths if path is not None and not is_stdout(path)]


def printable(words: str) -> str:
    r"""Return ``words`` with control characters escaped: text from a file must not steer the terminal.

    >>> printable("site \x1b[31m0042")
    'site \\x1b[31m0042'
    """
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in words)


def stdout_to_nowhere() -> None:
    """Let what is still in the buffer vanish, so that closing it at the end of the program does not complain."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)
