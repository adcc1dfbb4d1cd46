"""Workspaces: a private folder for each, with the files that were brought, the state of the page, and kept answers.

Nothing of it is code: state is JSON, plans are plan.json. A workspace outlives the server, so that one that was killed
goes on; it is removed when somebody asks for it, or after `KEPT_DAYS` without use.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

KEPT_DAYS = 30
_ID = re.compile(r"[a-z0-9]{20}")
_ANSWER = re.compile(r"[0-9a-f]{16}\.json")
_LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789"
_LONGEST_NAME = 120
# What of the state the page may set, and of which kind it is.
FROM_PAGE: dict[str, type] = {"choices": dict, "question": dict, "past": list, "future": list, "title": str}
_KINDS: dict[str, type] = {**FROM_PAGE, "files": int, "kept": list, "source": dict}


@dataclass
class Workspace:
    """One workspace in its ``folder``; ``state`` is what the page shows when it is loaded anew."""

    folder: Path
    state: dict[str, Any] = field(default_factory=dict)

    @property
    def id(self) -> str:
        """Its name in addresses."""
        return self.folder.name

    @property
    def files(self) -> Path:
        """Where the files that were brought lie."""
        return self.folder / "files"

    @property
    def brought(self) -> list[str]:
        """Names of the files that were brought."""
        return sorted(path.name for path in self.files.iterdir() if not path.name.startswith("."))

    def answer_file(self, name: str) -> Path | None:
        """Return the file of a kept answer; None for a name that is none of this desk."""
        return self.folder / "answers" / name if _ANSWER.fullmatch(name) else None

    def kept(self, number: Any) -> dict[str, Any] | None:
        """Return the kept answer of that id."""
        return next((one for one in self.state["kept"] if one.get("id") == number), None)

    def save(self) -> None:
        """Write the state, whole or not at all."""
        self.state["touched"] = time.time()
        target, aside = self.folder / "state.json", self.folder / f".state-{secrets.token_hex(4)}"
        aside.write_text(json.dumps(self.state), encoding="utf-8")
        os.replace(aside, target)

    def take(self, state: Any) -> None:
        """Take over what the page says of its state; what is not of the right kind is left as it is."""
        for name, kind in FROM_PAGE.items():
            value = state.get(name) if isinstance(state, dict) else None
            if isinstance(value, kind):
                self.state[name] = value[:_LONGEST_NAME] if isinstance(value, str) else value

    def files_changed(self) -> None:
        """Tell workers that they have to read the files again, and forget what was chosen for those before."""
        self.state["files"] = self.state.get("files", 0) + 1
        self.state["choices"] = {}
        self.save()

    def new_answer_file(self) -> Path:
        """Return a path for the plan of another kept answer."""
        return self.folder / "answers" / f"{secrets.token_hex(8)}.json"


def fresh_state() -> dict[str, Any]:
    """Return the state of a workspace to which nothing was brought yet."""
    return {name: kind() for name, kind in _KINDS.items()}


def sound_state(state: Any) -> dict[str, Any]:
    """Return ``state`` as far as it is of the right kinds; the rest is as in a fresh workspace."""
    known = state if isinstance(state, dict) else {}
    made = fresh_state()
    made.update({name: known[name] for name, kind in _KINDS.items() if type(known.get(name)) is kind})
    made["kept"] = [one for one in made["kept"] if isinstance(one, dict) and _ANSWER.fullmatch(str(one.get("file")))]
    made["touched"] = time.time()
    return made


class Store:
    """All workspaces of a user, in a folder that nobody else may enter."""

    def __init__(self, base: Path) -> None:
        self.base = base
        base.mkdir(parents=True, exist_ok=True, mode=0o700)
        with contextlib.suppress(OSError):
            base.chmod(0o700)
        self._open: dict[str, Workspace] = {}

    def new(self, title: str = "") -> Workspace:
        """Return a new workspace."""
        folder = self.base / "".join(secrets.choice(_LETTERS) for _ in range(20))
        for name in ("files", "answers"):
            (folder / name).mkdir(parents=True, mode=0o700)
        made = Workspace(folder, {**fresh_state(), "title": title[:_LONGEST_NAME]})
        made.save()
        self._open[made.id] = made
        return made

    def get(self, name: str) -> Workspace | None:
        """Return the workspace of that id; None where there is none. No other name reaches the file system."""
        if name in self._open:
            return self._open[name]
        if not _ID.fullmatch(name) or not (self.base / name / "files").is_dir():
            return None
        try:
            state = json.loads((self.base / name / "state.json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            state = {}
        touched = state.get("touched") if isinstance(state, dict) else None
        found = Workspace(self.base / name, sound_state(state))
        found.state["touched"] = touched if isinstance(touched, int | float) else 0.0
        self._open[name] = found
        return found

    def all(self) -> Iterator[Workspace]:
        """Yield the workspaces, the last one used first."""
        names = [path.name for path in self.base.iterdir() if _ID.fullmatch(path.name)]
        found = [one for name in names if (one := self.get(name)) is not None]
        yield from sorted(found, key=lambda one: -float(one.state.get("touched", 0.0)))

    def remove(self, workspace: Workspace) -> None:
        """Remove a workspace with all that is in it."""
        self._open.pop(workspace.id, None)
        shutil.rmtree(workspace.folder, ignore_errors=True)

    def remove_old(self) -> None:
        """Remove workspaces that nobody has used for `KEPT_DAYS`, and empty ones of more than a day."""
        for one in list(self.all()):
            days = (time.time() - float(one.state.get("touched", 0.0))) / 86_400
            if days > KEPT_DAYS or (days > 1 and not one.brought):
                self.remove(one)
