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
_KINDS: dict[str, type] = {**FROM_PAGE, "files": int, "revision": int, "kept": list, "source": dict}
_OF_KEPT: dict[str, type] = {
    "id": str,
    "name": str,
    "question": dict,
    "choices": dict,
    "changes": list,
    "figures": dict,
}


@dataclass
class Workspace:
    """One workspace in its ``folder``; ``state`` is what the page shows when it is loaded anew."""

    folder: Path
    state: dict[str, Any] = field(default_factory=dict)
    read_at: int = 0

    @property
    def id(self) -> str:
        """Its name in addresses."""
        return self.folder.name

    @property
    def files(self) -> Path:
        """Where the files that were brought lie."""
        return self.folder / "files"

    @property
    def pings(self) -> Path:
        """Where ping output lies that was named at the command line."""
        return self.folder / "pings"

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
        aside = self.folder / f".state-{secrets.token_hex(4)}"
        try:
            aside.write_text(json.dumps(self.state), encoding="utf-8")
            os.replace(aside, self.file)
        finally:
            aside.unlink(missing_ok=True)
        self.read_at = self.stamp

    @property
    def file(self) -> Path:
        """Where the state lies."""
        return self.folder / "state.json"

    @property
    def stamp(self) -> int:
        """When the state was written last; another desk of the same user may have done so."""
        try:
            return self.file.stat().st_mtime_ns
        except OSError:
            return 0

    def take(self, state: Any) -> None:
        """Take over what the page says of its state; what is not of the right kind is left as it is."""
        for name, kind in FROM_PAGE.items():
            value = state.get(name) if isinstance(state, dict) else None
            if isinstance(value, kind):
                self.state[name] = value[:_LONGEST_NAME] if isinstance(value, str) else value
        self.state["revision"] += 1

    def file_came(self, name: str) -> None:
        """Let workers read the files again. Choices stay, but for the cells that were corrected in that very file."""
        choices = self.state["choices"]
        cells = choices.get("cells")
        if isinstance(cells, dict):
            left = {key: text for key, text in cells.items() if not key.startswith(f"{name}\n")}
            self.state["choices"] = {**choices, "cells": left}
        self._files_changed()

    def clear(self) -> None:
        """Remove the files that were brought, and what was chosen for them."""
        for name in self.brought:
            (self.files / name).unlink(missing_ok=True)
        shutil.rmtree(self.pings, ignore_errors=True)
        self.state["choices"] = {}
        self._files_changed()

    def _files_changed(self) -> None:
        self.state["files"] += 1
        self.state["revision"] += 1
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
    made["kept"] = [one for one in made["kept"] if _is_kept(one)]
    for steps in ("past", "future"):
        made[steps] = [{name: step[name] for name in ("choices", "question")} for step in made[steps] if _is_step(step)]
    made["touched"] = time.time()
    return made


def _is_kept(one: Any) -> bool:
    """Say whether it can be a kept answer: the page relies on the kinds of its parts."""
    if not isinstance(one, dict) or not _ANSWER.fullmatch(str(one.get("file"))):
        return False
    return all(isinstance(one.get(name), kind) for name, kind in _OF_KEPT.items())


def _is_step(step: Any) -> bool:
    return isinstance(step, dict) and all(isinstance(step.get(name), dict) for name in ("choices", "question"))


def _load(workspace: Workspace) -> None:
    """Take over the state that lies in the folder."""
    workspace.read_at = workspace.stamp
    try:
        state = json.loads(workspace.file.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        state = {}
    touched = state.get("touched") if isinstance(state, dict) else None
    workspace.state = sound_state(state)
    workspace.state["touched"] = touched if isinstance(touched, int | float) else 0.0


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
        if not _ID.fullmatch(name) or not (self.base / name / "files").is_dir():
            self._open.pop(name, None)
            return None
        found = self._open.setdefault(name, Workspace(self.base / name))
        if not found.state or found.read_at != found.stamp:
            _load(found)
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
