"""Write a file whole or not at all: readers see the old content or the new, never half of it."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from planner.errors import InputError
from planner.fleet import Finding


@contextmanager
def replacing(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Yield a path in the folder of ``path`` to write to; it takes the place of ``path`` when the block ends well.

    When the block raises, the old file stays as it was and the new one is removed. The mode of an
    existing file is kept, and a link stays a link. Raises InputError when the folder is missing or not writable,
    when ``path`` is not an ordinary file, or when another program keeps it open.
    """
    target = Path(os.path.realpath(path))
    if target.exists() and not target.is_file():
        raise _cannot_write(path, "it exists and is not an ordinary file.", "Give the name of a file.")
    if not target.parent.is_dir():
        raise _cannot_write(path, f"the folder {target.parent} does not exist.", "Create it, or name another one.")
    # Created by the writer itself, not by tempfile, so that the file gets the rights the user's umask gives.
    temporary = target.with_name(f".{target.name[:100]}.{secrets.token_hex(6)}.part")
    try:
        yield temporary
        if target.exists():
            shutil.copymode(target, temporary)
        os.replace(temporary, target)
    except OSError as error:
        reason = error.strerror or str(error)
        raise _cannot_write(path, f"{reason}.", "Is it open in another program, or is the disk full?") from error
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)


def write_text(path: str | os.PathLike[str], text: str) -> None:
    """Write ``text`` as UTF-8 with its line ends as they are, whole or not at all; raises as `replacing`."""
    with replacing(path) as temporary:
        temporary.write_bytes(text.encode())


def _cannot_write(path: str | os.PathLike[str], what: str, hint: str) -> InputError:
    return InputError((Finding("error", "cannot_write", "", f"cannot be written: {what}", hint, os.fspath(path)),))
