"""Questions of the page, handed to the workers: every answer says how it ended, and none waits behind an older one."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator
from typing import Any

from planner.desk.crew import Answer, Crew, Worker
from planner.desk.workspaces import Workspace

_PLAN_SECONDS = 60.0
_MOST_SECONDS = 3_600.0
_OTHER_FILES = (
    "{name} was kept before the files of this workspace changed, so its plan is of another fleet. "
    "Press Ask again under Compare, then keep the new answer."
)


class Stale(Exception):
    """A kept answer belongs to files that are not there any more; the words say what to do."""


def body_of(workspace: Workspace, asked: dict[str, Any]) -> dict[str, Any]:
    """Return what a worker needs to know of a workspace and of what is asked; a kept answer stands for its question.

    The choices are those of the tab that asks, since another tab may have made other ones. Raises Stale where the
    kept answer is of other files.
    """
    kept = workspace.kept(asked.get("kept"))
    said = asked if kept is None else kept
    question, choices = said.get("question"), said.get("choices")
    body: dict[str, Any] = {
        "folder": str(workspace.files),
        "files": workspace.state["files"],
        "choices": choices if isinstance(choices, dict) else workspace.state["choices"],
        "question": question if isinstance(question, dict) else {},
        "thorough": bool(asked.get("thorough")),
    }
    if kept is None:
        return body
    if kept.get("files", body["files"]) != body["files"]:
        raise Stale(_OTHER_FILES.format(name=kept["name"]))
    return {**body, "plan_file": str(workspace.answer_file(str(kept["file"])))}


def plain(answer: Answer) -> dict[str, Any]:
    """Return an answer as the page takes it."""
    return {"event": answer.event, "data": answer.data}


async def count(crew: Crew, workspace: Workspace, asked: dict[str, Any]) -> dict[str, Any]:
    """Return the count; a newer question of the same tab stops this one."""
    owner = f"{workspace.id} {asked.get('tab', '')}"
    return plain(await crew.counting.ask("count", body_of(workspace, asked), owner=owner, turn=_turn(asked)))


async def news_of(
    worker: Worker, task: str, body: dict[str, Any], asked: dict[str, Any], owner: str
) -> AsyncIterator[bytes | Answer]:
    """Yield lines of JSON with what the worker tells on the way, then how the task ended."""
    told: asyncio.Queue[dict[str, Any]] = asyncio.Queue()
    if task == "plan":
        body = {**body, "seconds": _seconds(asked.get("seconds"))}
    turn, hear = _turn(asked), told.put_nowait
    asking = asyncio.create_task(worker.ask(task, body, owner=owner, turn=turn, news=hear))
    last = 0.0
    getting = asyncio.create_task(told.get())
    try:
        while not asking.done():
            await asyncio.wait({asking, getting}, return_when=asyncio.FIRST_COMPLETED)
            if not getting.done():
                continue
            news, getting = getting.result(), asyncio.create_task(told.get())
            if time.monotonic() - last > 0.1:  # a solver tells more than people can read
                last = time.monotonic()
                yield line_of({"event": "news", "data": news})
        yield asking.result()
    finally:
        getting.cancel()
        if not asking.done():  # the page has gone, or has asked something newer
            worker.give_up(owner)


def _turn(asked: dict[str, Any]) -> int:
    turn = asked.get("turn")
    return turn if isinstance(turn, int) else 0


def _seconds(value: Any) -> float:
    try:
        seconds = float(value)
    except (TypeError, ValueError):
        return _PLAN_SECONDS
    return min(seconds, _MOST_SECONDS) if seconds > 0 else _PLAN_SECONDS


def line_of(message: dict[str, Any]) -> bytes:
    """Return a message as one line."""
    return json.dumps(message, separators=(",", ":")).encode() + b"\n"
