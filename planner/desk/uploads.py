"""What people bring to a workspace: files by name and size, and whole workspaces that were saved to one file."""

from __future__ import annotations

import json
import shutil
import unicodedata
import zipfile
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any, BinaryIO

from planner.desk.workspaces import Store, Workspace, sound_state

MOST_BYTES = 400_000_000  # of one file; intake has limits of its own for what is in it
_MOST_FILES = 2_000
_LONGEST = 100
ENDINGS = (
    *(".xlsx", ".xlsm", ".ods", ".csv", ".tsv", ".json", ".jsonl", ".parquet", ".graphml"),
    *(".sqlite", ".sqlite3", ".db", ".txt", ".xls"),
)
_CHUNK = 1 << 20


class Refused(Exception):
    """What was brought cannot be taken; the words say why, and what to do."""


def file_name(name: str) -> str:
    """Return the plain name under which a file is kept: no folder, no control characters, an ending that is read.

    Raises Refused where nothing is left or the ending is none of a fleet.
    """
    last = name.replace("\\", "/").rpartition("/")[2]
    kept = "".join(c for c in unicodedata.normalize("NFC", last) if c.isprintable() and c not in ':*?"<>|').strip(" .")
    stem, dot, ending = kept.rpartition(".")
    if not dot or f".{ending.lower()}" not in ENDINGS or not stem:
        raise Refused(f"{kept[:_LONGEST] or 'This'} is no file of a fleet. Bring one of {' '.join(ENDINGS[:7])}.")
    return f"{stem[:_LONGEST]}.{ending}"


async def take_file(workspace: Workspace, name: str, body: AsyncIterator[bytes]) -> str:
    """Write an upload to the files of a workspace, whole or not at all; return its name. Raises Refused."""
    kept = file_name(name)
    if len(workspace.brought) >= _MOST_FILES:
        raise Refused(f"A workspace holds up to {_MOST_FILES:,} files. Remove some first.")
    aside = workspace.files / f".{kept}.part"
    try:
        with aside.open("wb") as file:
            await _copy(body, file)
        aside.replace(workspace.files / kept)
    finally:
        aside.unlink(missing_ok=True)
    return kept


async def _copy(body: AsyncIterator[bytes], file: BinaryIO) -> None:
    size = 0
    async for chunk in body:
        size += len(chunk)
        if size > MOST_BYTES:
            raise Refused(f"The file is larger than {MOST_BYTES // 1_000_000} MB. Remove what is no part of the fleet.")
        file.write(chunk)


def save_bundle(workspace: Workspace, path: Path) -> None:
    """Write a workspace to one file, a zip archive of its files, its state and the plans that it keeps."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("state.json", json.dumps(workspace.state))
        for name in workspace.brought:
            if (workspace.files / name).is_file():
                archive.write(workspace.files / name, f"files/{name}")
        if workspace.pings.is_dir():
            for path in sorted(workspace.pings.iterdir()):
                if path.is_file():
                    archive.write(path, f"pings/{path.name}")
        for kept in workspace.state["kept"]:
            file = workspace.answer_file(str(kept.get("file")))
            if file is not None and file.is_file():
                archive.write(file, f"answers/{file.name}")


def open_bundle(store: Store, path: Path) -> Workspace:
    """Return a new workspace with what `save_bundle` wrote; Refused where the file is none, or holds anything else."""
    workspace = store.new()
    try:
        with zipfile.ZipFile(path) as archive:
            _unpack(archive, workspace)
    except (zipfile.BadZipFile, OSError, ValueError, RuntimeError, NotImplementedError, RecursionError) as error:
        store.remove(workspace)
        raise Refused("This is no workspace that a desk has saved. Choose the file that Save wrote.") from error
    except Refused:
        store.remove(workspace)
        raise
    return workspace


def _unpack(archive: zipfile.ZipFile, workspace: Workspace) -> None:
    members = archive.infolist()
    if len(members) > _MOST_FILES or sum(one.file_size for one in members) > 2 * MOST_BYTES:
        raise Refused("The workspace is larger than a desk takes.")
    for member in members:
        folder, _, name = member.filename.rpartition("/")
        if folder == "files" and name == file_name(name):
            _extract(archive, member, workspace.files / name)
        elif folder == "pings" and name.isprintable() and name.strip(".") and "\\" not in name:
            workspace.pings.mkdir(mode=0o700, exist_ok=True)
            _extract(archive, member, workspace.pings / name)
        elif folder == "answers" and (target := workspace.answer_file(name)) is not None:
            _extract(archive, member, target)
    state: Any = json.loads(archive.read("state.json")) if "state.json" in archive.namelist() else None
    if not isinstance(state, dict):
        raise ValueError("no state")
    workspace.state = sound_state(state)
    workspace.save()


def _extract(archive: zipfile.ZipFile, member: zipfile.ZipInfo, target: Path) -> None:
    left = MOST_BYTES
    with archive.open(member) as source, target.open("wb") as file:
        while chunk := source.read(_CHUNK):
            left -= len(chunk)
            if left < 0:
                raise Refused("A file in the workspace is larger than a desk takes.")
            file.write(chunk)


def copy_fleet(workspace: Workspace, fleet: Path, pings: Path | None) -> None:
    """Copy a fleet of the command line into a workspace: a file, or the files of a folder, links not followed."""
    for path in sorted(fleet.iterdir()) if fleet.is_dir() else [fleet]:
        if path.is_file() and not path.name.startswith("."):
            shutil.copyfile(path, workspace.files / path.name)
    beside = fleet / "pings" if fleet.is_dir() and (fleet / "pings").is_dir() else None
    for folder in (beside, pings):
        if folder is not None:
            shutil.copytree(folder, workspace.pings, dirs_exist_ok=True)
