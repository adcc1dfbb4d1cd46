"""Files that were made and wait to be fetched, each once, under a ticket that cannot be guessed."""

from __future__ import annotations

import secrets
from collections import OrderedDict
from dataclasses import dataclass, field
from pathlib import Path

_MOST = 20  # that wait at a time; the oldest goes first


@dataclass
class Handed:
    """Tickets, and the files that they stand for."""

    _waiting: OrderedDict[str, tuple[str, str, Path, str]] = field(default_factory=OrderedDict)

    def put(self, workspace: str, kind: str, path: Path, name: str) -> str:
        """Return the ticket of a file of ``kind`` that was made for a workspace; people save it as ``name``."""
        ticket = secrets.token_hex(16)
        self._waiting[ticket] = (workspace, kind, path, name)
        while len(self._waiting) > _MOST:
            _, (_, _, oldest, _) = self._waiting.popitem(last=False)
            oldest.unlink(missing_ok=True)
        return ticket

    def take(self, workspace: str, kind: str, ticket: str) -> tuple[Path, str] | None:
        """Return path and name of a file, which is not waiting any more; None where there is none."""
        found = self._waiting.get(ticket)
        if found is None or found[:2] != (workspace, kind):
            return None
        del self._waiting[ticket]
        return found[2:]
