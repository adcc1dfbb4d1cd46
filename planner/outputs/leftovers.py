"""Half-written files that a killed process left behind: how they are named, and which of them may be removed."""

from __future__ import annotations

import os
import re
import secrets
import socket
import time
import zlib
from contextlib import suppress
from pathlib import Path

from planner import interrupts

_LONGEST_NAME = 100
_NAMED = re.compile(r"(?:(?P<host>[0-9a-f]{8})-(?P<process>\d+)-)?[0-9a-f]{12}\.part")
_SURELY_OLD_S = 24 * 3600.0


def temporary_name(target: Path) -> str:
    """Return a name beside ``target`` for its new content, which tells machine and process."""
    return f"{_begin(target)}{_host()}-{os.getpid()}-{secrets.token_hex(6)}.part"


def remove_leftovers(target: Path) -> None:
    """Remove what earlier writes of ``target`` left behind, but nothing of a process that still runs.

    Whether a process of another machine runs cannot be known: its files go when they are a day old.
    """
    with suppress(OSError):
        for path in target.parent.iterdir():
            named = _NAMED.fullmatch(path.name.removeprefix(_begin(target)))
            if named and path.name.startswith(_begin(target)):
                with suppress(OSError):
                    if _left_behind(path, named):
                        path.unlink()


def _begin(target: Path) -> str:
    return f".{target.name[:_LONGEST_NAME]}."


def _host() -> str:
    return f"{zlib.crc32(socket.gethostname().encode()):08x}"


def _left_behind(path: Path, named: re.Match[str]) -> bool:
    if named["host"] != _host() or os.name == "nt":
        return time.time() - path.stat().st_mtime > _SURELY_OLD_S
    process = int(named["process"])
    return os.fspath(path) not in interrupts.half_written if process == os.getpid() else not _runs(process)


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):  # it is somebody else's
        return True
    return True
