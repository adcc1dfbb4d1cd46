"""Write files whole or not at all: readers see the old content or the new, never half of it.

Files that are written inside `together` take their places at its end, all of them or none.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass, field
from pathlib import Path

from planner import interrupts
from planner.errors import InputError
from planner.fleet import Finding
from planner.outputs.leftovers import remove_leftovers, temporary_name


@dataclass(frozen=True, slots=True)
class _Ready:
    """A file that waits for its place: ``path`` as it was named, ``target`` where it goes."""

    path: str
    temporary: Path
    target: Path


@dataclass(slots=True)
class _Batch:
    ready: list[_Ready] = field(default_factory=list)
    afterwards: list[Callable[[], None]] = field(default_factory=list)


_batch: ContextVar[_Batch | None] = ContextVar("_batch", default=None)


@contextmanager
def together() -> Iterator[None]:
    """Let the files that are written in the block take their places when it ends well, and none when it does not.

    Raises InputError where one of them cannot take its place; those before it are put back as they were.
    """
    batch = _Batch()
    token = _batch.set(batch)
    try:
        yield
        interrupts.too_late()
        with interrupts.heard(lambda: None):  # the same for a program that has an answer of its own to Ctrl-C
            _take_places(batch.ready)
    finally:
        _batch.reset(token)
        for one in batch.ready:
            _remove(one.temporary)
    for do in batch.afterwards:
        do()


def afterwards(do: Callable[[], None]) -> None:
    """Call ``do`` when the files of the surrounding `together` have taken their places; at once outside of one."""
    batch = _batch.get()
    if batch is None:
        do()
    else:
        batch.afterwards.append(do)


@contextmanager
def replacing(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Yield a path in the folder of ``path`` to write to; it takes the place of ``path`` when the block ends well.

    When the block raises, the old file stays as it was and the new one is removed. The mode of an
    existing file is kept, and a link stays a link. What an earlier write of ``path`` left behind when its process was
    killed is removed. Raises InputError when the folder is missing or not writable, when ``path`` is not an ordinary
    file, or when another program keeps it open.
    """
    target = Path(os.path.realpath(path))
    if target.exists() and not target.is_file():
        raise _cannot_write(path, "it exists and is not an ordinary file.", "Give the name of a file.")
    if not target.parent.is_dir():
        raise _cannot_write(path, f"the folder {target.parent} does not exist.", "Create it, or name another one.")
    remove_leftovers(target)
    # Created by the writer itself, not by tempfile, so that the file gets the rights the user's umask gives.
    temporary = target.with_name(temporary_name(target))
    interrupts.half_written.add(os.fspath(temporary))
    ready = _Ready(os.fspath(path), temporary, target)
    batch = _batch.get()
    kept = False
    try:
        yield temporary
        if batch is None:
            _take_places([ready])
        else:
            batch.ready.append(ready)
            kept = True
    except OSError as error:
        raise _refused(path, error) from error
    finally:
        if not kept:
            _remove(temporary)


def write_bytes(path: str | os.PathLike[str], content: bytes) -> None:
    """Write ``content``, whole or not at all; raises as `replacing`."""
    with replacing(path) as temporary:
        temporary.write_bytes(content)


def write_text(path: str | os.PathLike[str], text: str) -> None:
    """Write ``text`` as UTF-8 with its line ends as they are, whole or not at all; raises as `replacing`."""
    write_bytes(path, text.encode())


def write_pieces(path: str | os.PathLike[str], pieces: Iterable[str]) -> None:
    """Write text that comes in pieces as UTF-8, whole or not at all, without holding it all; raises as `replacing`."""
    with replacing(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as file:
        file.writelines(pieces)


def _take_places(files: list[_Ready]) -> None:
    """Put every file in its place; where one cannot be, put back what the others replaced."""
    undo: list[Callable[[], object]] = []
    olds: list[Path] = []
    try:
        for one in files:
            try:
                if one.target.exists():
                    shutil.copymode(one.target, one.temporary)
                if len(files) > 1:
                    undo.append(_way_back(one.target, olds))
                os.replace(one.temporary, one.target)
            except OSError as error:
                for back in reversed(undo):
                    with suppress(OSError):
                        back()
                raise _refused(one.path, error) from error
    finally:
        for old in olds:
            _remove(old)


def _way_back(target: Path, olds: list[Path]) -> Callable[[], object]:
    """Return what puts ``target`` back as it is now; an old file is kept under a name of its own until all is done."""
    if not target.exists():
        return lambda: target.unlink(missing_ok=True)
    old = target.with_name(temporary_name(target))
    interrupts.half_written.add(os.fspath(old))
    olds.append(old)
    try:
        os.link(target, old)
    except OSError:  # not every file system has links
        shutil.copy2(target, old)
    return lambda: os.replace(old, target)


def _remove(path: Path) -> None:
    with suppress(OSError):
        path.unlink(missing_ok=True)
    interrupts.half_written.discard(os.fspath(path))


def _refused(path: str | os.PathLike[str], error: OSError) -> InputError:
    reason = error.strerror or str(error)
    return _cannot_write(path, f"{reason}.", "Is it open in another program, or is the disk full?")


def _cannot_write(path: str | os.PathLike[str], what: str, hint: str) -> InputError:
    return InputError((Finding("error", "cannot_write", "", f"cannot be written: {what}", hint, os.fspath(path)),))
